"""What is printed and what remains."""
