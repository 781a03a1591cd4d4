"""The link tried out on the page: what moves with the thumb, and what is answered where it rests."""
