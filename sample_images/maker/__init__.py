"""Makes the demo photos of an invented car, with exact truth.

``mechanics`` knows the car and what is true of it, ``picture`` how it looks to a phone; ``truth`` and
``carfile`` write both down.
"""
