"""Messages, their translations, errors, and JSON text from outside."""
