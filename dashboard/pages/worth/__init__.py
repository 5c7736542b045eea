"""What is worth measuring: every figure, and one of them with what if it were read otherwise."""
