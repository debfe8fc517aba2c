"""What is said: error classes, messages that remember their English, and the catalogues of six languages."""
