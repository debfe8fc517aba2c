"""Properties of water, settling of grains in it and gas exchange at its surface. Independent of ash and gardens."""
