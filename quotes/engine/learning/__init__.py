"""What the floor taught: factors, chances, calibration, look-alikes. Worked out in floats, none of them an amount of money."""
