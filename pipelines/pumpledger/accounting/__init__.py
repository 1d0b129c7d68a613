"""Water, energy, money and savings of every local day, each with its range and its source."""
