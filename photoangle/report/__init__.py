"""One self-contained HTML file of everything that was found, and a fitting card to take to the car."""
