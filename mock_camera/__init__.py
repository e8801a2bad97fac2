"""A camera that exists only as a process: the real driver talks to it over PTP/IP.

It answers on 127.0.0.1 as ISO 15740 (PTP) over CIPA DC-005 (PTP/IP) describes and looks at a
simulated strip of film.  It knows nothing of the program that uses it.

Protocol: `codes` (numbers), `fields`, `packets`, `datasets` (bytes and back, pure), `links` (a socket),
`responder` (connections, session, transactions), `bodies` (what operations do, one family a file),
`body` (shutter, buffer, live view), `card`, `settings`, `faults`, `control` (the channel of tests and
demos).  Film: `rig` and what it imports.  `lens` says what the first half needs of the second.
"""
