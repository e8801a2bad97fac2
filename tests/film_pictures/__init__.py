"""Pictures of film with exact truth, for judging how the frame is found.

Invented throughout; only skimage's sample photographs are real. Nothing here is shared with tethercap or with
mock_camera: film is drawn in millimetres as densities, seen through a holder and a lens, and written as a camera's
live view would be.
"""
