"""Does it fit: fit points, clearance in motion, joints."""
