"""What the grower has and may do: ash, water, soil and plants, limits for feeds, lime and dry ash."""
