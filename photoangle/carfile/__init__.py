"""The car folder: car.toml, corrections, the photos of each state, lengths as people write them."""
