"""The trade: species, calendar, egg geometry, air-cell norms, water loss, hatch results."""
