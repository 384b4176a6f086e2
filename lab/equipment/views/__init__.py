"""Pages of the register of devices and of their calibrations."""
