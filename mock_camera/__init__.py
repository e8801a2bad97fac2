"""A camera that exists only as a process: the real driver talks to it over PTP/IP.

It answers on 127.0.0.1 as ISO 15740 (PTP) over CIPA DC-005 (PTP/IP) describes and looks at a
simulated strip of film.  It knows nothing of the program that uses it.
"""
