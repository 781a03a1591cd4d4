"""How it looks: shapes, surfaces and prints, the light, the phone and where it stood."""
