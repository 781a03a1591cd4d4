"""Photos or tape to the drop link's answer: ride height, length, travel, verdict."""
