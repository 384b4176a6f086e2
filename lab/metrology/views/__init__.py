"""What each pose of a tracker will see."""
