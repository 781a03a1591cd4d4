"""Picture files: read strictly into grey pixels in the sensor's own frame."""
