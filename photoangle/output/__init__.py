"""Tables, drawings and pictures: writers of what the other stages found."""
