"""Both ends of the door: what may be asked and how it is read; figures, quantities and cautions of the reply."""
