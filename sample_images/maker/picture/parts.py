"""A list of shapes with material and body, turned into one soup of triangles in the world frame."""
import numpy as np

from ..mechanics.rigid import Rigid
from .materials import NAMES
from .shapes import corner_normals


class Parts:
    """Collects shapes.  Each add() is one part: it shares light only with itself when light is spread."""

    def __init__(self):
        self.rows = []

    def add(self, shape, material, body="world", print_index=-1, crease_deg=38.0):
        """shape (V, F) at its body's rest place; print_index >= 0 marks the face of a print."""
        self.rows.append((np.asarray(shape[0], float), np.asarray(shape[1], int), NAMES.index(material),
                          body, print_index, crease_deg))

    def mirrored(self):
        """The same parts across y = 0."""
        out = Parts()
        for V, F, m, body, p, c in self.rows:
            out.rows.append((V * (1, -1, 1), F[:, ::-1], m, body, p, c))
        return out

    def soup(self, motions):
        """Arrays of all triangles: corners P, rest places Q, normals N (m, 3, 3); material, part, print (m,).

        motions: body -> Rigid, rest place -> world.
        """
        P, Q, N, mat, part, prints = [], [], [], [], [], []
        for k, (V, F, m, body, p, crease) in enumerate(self.rows):
            move = motions.get(body, Rigid())
            W = move(V)
            P.append(W[F])
            Q.append(V[F])
            N.append(corner_normals(W, F, crease))
            mat.append(np.full(len(F), m))
            part.append(np.full(len(F), k))
            prints.append(np.full(len(F), p))
        return {"P": np.concatenate(P), "Q": np.concatenate(Q), "N": np.concatenate(N),
                "material": np.concatenate(mat), "part": np.concatenate(part),
                "print": np.concatenate(prints)}
