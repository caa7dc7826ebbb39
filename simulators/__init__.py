"""A model apiary: yards, weather, colonies and the sensors that watch them."""
