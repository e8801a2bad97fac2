"""A second, independent drawing of film before a camera, for judging how frames are found.

It shares nothing with tests/film_pictures but the judging, nor with mock_camera: scenes are exposed onto a strip
through a camera's gate, the strip becomes a raster of transmittance in millimetres, and a camera with a lens, a light
panel and a holder looks at it. Because its habits differ, what is tuned on one drawing can be judged on the
other. Everything is invented but the sample photographs of scikit-image.
"""
