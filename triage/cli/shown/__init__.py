"""What commands read and print."""
