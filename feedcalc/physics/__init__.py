"""Physics of water and of grains that settle in it. Knows no ash and no gardens."""
