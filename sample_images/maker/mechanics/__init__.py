"""What is true of the car: joints and how they move, where markers are stuck, how it stands, its angles."""
