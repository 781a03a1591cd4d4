"""Small vector and rotation helpers.  Vectors are float64 arrays of shape (3,) unless said otherwise."""
import numpy as np


def vec(*xyz):
    """The numbers as a float64 vector."""
    return np.array(xyz, float)


def unit(v):
    """v scaled to length 1."""
    v = np.asarray(v, float)
    return v / np.linalg.norm(v)


def turn(axis, angle_rad):
    """3x3 rotation by angle_rad about the direction axis (right-hand rule)."""
    k = unit(axis)
    s, c = np.sin(angle_rad), np.cos(angle_rad)
    cross = np.array([[0, -k[2], k[1]], [k[2], 0, -k[0]], [-k[1], k[0], 0]])
    return np.eye(3) + s * cross + (1 - c) * cross @ cross


def shortest_turn(a, b):
    """3x3 rotation that takes direction a to direction b by the shortest way."""
    a, b = unit(a), unit(b)
    axis = np.cross(a, b)
    s = np.linalg.norm(axis)
    if s < 1e-12:
        return np.eye(3)
    return turn(axis, np.arctan2(s, a @ b))


class Rigid:
    """A rigid motion p -> R p + t (R 3x3, t in mm).  `a @ b` does b first, then a."""

    def __init__(self, R=None, t=None):
        self.R = np.eye(3) if R is None else np.asarray(R, float)
        self.t = np.zeros(3) if t is None else np.asarray(t, float)

    def __call__(self, points):
        """Points of shape (..., 3) moved."""
        return np.asarray(points, float) @ self.R.T + self.t

    def __matmul__(self, other):
        return Rigid(self.R @ other.R, self.R @ other.t + self.t)

    @staticmethod
    def about(point, R):
        """Rotation R about a fixed point."""
        return Rigid(R, point - R @ point)


def print_axes(normal, down, roll_deg=0.0):
    """Axes of a print seen from outside: columns x right, y down, z into the sheet.

    normal points out of the paper towards the reader; down is the rough direction of
    the print's bottom edge; roll_deg turns the print in its plane.
    """
    z = -unit(normal)
    y = np.asarray(down, float) - (np.asarray(down, float) @ z) * z
    y = unit(y)
    R = np.column_stack([np.cross(y, z), y, z])
    return R @ turn((0, 0, 1), np.radians(roll_deg))


def mirror(v):
    """The mirror image of points or directions (..., 3) across the car's middle plane y = 0."""
    return np.asarray(v, float) * np.array([1.0, -1.0, 1.0])
