"""What is learnt of a lens beside photos of the card: from a job's own photos, and from boards and
tags that people have."""
