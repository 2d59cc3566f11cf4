"""Files opened, checked and tried in a limited child process."""
