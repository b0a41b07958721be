"""How much water: rainfall, losses, time of concentration, hydrographs, standing water."""
