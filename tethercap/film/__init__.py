"""What film is: formats in millimetres, kinds, and what the codes on its edge mean."""
