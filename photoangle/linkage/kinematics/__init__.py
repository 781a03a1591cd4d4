"""The corner as rigid bodies: closures, knuckle, gaps, link lengths; arrays in, arrays out."""
