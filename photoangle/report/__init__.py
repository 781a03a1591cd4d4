"""Everything that was found as one HTML file, with a fitting card."""
