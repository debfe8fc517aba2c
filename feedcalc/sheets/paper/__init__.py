"""What is printed in millimetres: labels, sheets of labels, and the sheet for the wall."""
