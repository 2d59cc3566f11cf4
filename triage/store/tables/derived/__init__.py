"""What is kept beside the log, written with it, so that tickets are found and summed without reading them."""
