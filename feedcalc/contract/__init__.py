"""The contract of the door: fields and readers of a request; figures, quantities and cautions of a reply."""
