"""Pictures of a triangle soup: light traced coarsely by Mitsuba, shapes and prints exactly per pixel.

Two passes.  Light: at every fifth pixel each way a path tracer tells how brightly a surface's point
is lit; divided by the surface's mean reflectance and smoothed among points of the same part.
Shapes: a ray through every pixel's centre (the lens's distortion inverted in double
precision), and 16 rays a pixel wherever neighbours differ; each hit's reflectance comes from
the noise of its material or from the exact print, times the light around it.
"""
import drjit as dr
import mitsuba as mi
import numpy as np
from scipy.special import ndtri

from . import lens, materials, prints

mi.set_variant("llvm_ad_rgb")
from drjit.llvm.ad import Float64

COARSE = 5
SUB = 16
PAPER_WHITE, INK = np.array([0.78, 0.78, 0.765]), np.array([0.036, 0.036, 0.038])
DUST = (0.17, 0.155, 0.13)


def _noise_volume(seed, n=128):
    """(n, n, n, 4) tileable 1/f noise, each channel ranked to spread evenly over 0..1."""
    rng = np.random.default_rng(seed)
    k = np.fft.fftfreq(n) * n
    r = np.sqrt(k[:, None, None] ** 2 + k[None, :, None] ** 2 + k[None, None, :n // 2 + 1] ** 2)
    shape = np.where(r > 0, 1 / np.maximum(r, 2.0) ** 1.35, 0)
    out = np.empty((n, n, n, 4), np.float32)
    for c in range(4):
        spec = np.fft.rfftn(rng.standard_normal((n, n, n)).astype(np.float32)) * shape
        v = np.fft.irfftn(spec, s=(n, n, n), axes=(0, 1, 2))
        v = (v - v.mean()) / v.std()
        out[..., c] = 0.5 * (1 + np.tanh(0.8 * v))
    return out


_NOISE = None


def noise():
    """The shared noise texture."""
    global _NOISE
    if _NOISE is None:
        _NOISE = mi.Texture3f(mi.TensorXf(_noise_volume(3)), wrap_mode=dr.WrapMode.Repeat)
    return _NOISE


def _mesh(P, N, bsdf=None):
    props = mi.Properties()
    if bsdf is not None:
        props["mesh_bsdf"] = bsdf
    mesh = mi.Mesh("m", vertex_count=3 * len(P), face_count=len(P), has_vertex_normals=True, props=props)
    p = mi.traverse(mesh)
    p["vertex_positions"] = mi.Float(P.astype(np.float32).ravel())
    p["vertex_normals"] = mi.Float(N.astype(np.float32).ravel())
    p["faces"] = mi.UInt32(np.arange(3 * len(P), dtype=np.uint32))
    p.update()
    return mesh


def _bsdf(m):
    if m.rough >= 0.74 and m.metal == 0:
        return mi.load_dict({"type": "twosided", "b": {"type": "diffuse", "reflectance": {
            "type": "rgb", "value": m.mean().tolist()}}})
    return mi.load_dict({"type": "twosided", "b": {
        "type": "principled", "base_color": {"type": "rgb", "value": m.mean().tolist()},
        "roughness": m.rough, "metallic": m.metal, "specular": m.gloss}})


class PrintTable:
    """Flat arrays for the shader: frames, sizes, cells and rasters of all prints in a scene."""

    def __init__(self, markers, card):
        cells, frames, raster, value, at = [], [], [], [], 0
        self.card_index = len(markers)
        for m in markers:
            cells.append(prints.tag_cells(m.id))
            frames.append(np.concatenate([m.R.T.ravel(), m.centre, [m.size_mm, m.dirt]]))
            r = prints.marker_raster(m)
            raster.append((at, r.value.shape[1], r.value.shape[0], r.x0, r.y0, r.scale))
            value.append(r.value.ravel())
            at += r.value.size
        if card is not None:
            frames.append(np.concatenate([card.R.T.ravel(), card.t, [0.0, 0.10]]))
            r = prints.card_raster()
            raster.append((at, r.value.shape[1], r.value.shape[0], r.x0, r.y0, r.scale))
            value.append(r.value.ravel())
            cells.append(np.zeros((8, 8), np.float32))
        self.first_card_cell = len(cells)
        cells += [prints.tag_cells(i) for i in range(27)]
        squares = prints.card_squares()
        self.cells = mi.Float(np.array(cells, np.float32).ravel())
        self.squares = mi.Int32(squares.astype(np.int32).ravel())
        f = np.array(frames, np.float32) if frames else np.zeros((1, 14), np.float32)
        self.frame = [mi.Float(f[:, k].copy()) for k in range(14)]
        ra = np.array(raster, np.float64) if raster else np.zeros((1, 6))
        self.raster = [mi.Int32(ra[:, k].astype(np.int32)) for k in range(3)] + \
                      [mi.Float(ra[:, k].astype(np.float32)) for k in range(3, 6)]
        self.ink = mi.Float(np.concatenate(value) if value else np.zeros(1, np.float32))

    def paper(self, k, hit, active):
        """Paper (1) to ink (0) at world points hit on print k, and the print's dirt."""
        g = lambda a: dr.gather(type(a), a, k, active)
        c = [g(a) for a in self.frame]
        q = hit - mi.Point3f(c[9], c[10], c[11])
        u = c[0] * q.x + c[1] * q.y + c[2] * q.z
        v = c[3] * q.x + c[4] * q.y + c[5] * q.z
        depth = c[6] * q.x + c[7] * q.y + c[8] * q.z
        card = k == self.card_index
        size = dr.select(card, mi.Float(20), c[12])
        sx, sy = dr.floor(u / 28), dr.floor(v / 28)
        on_board = card & (sx >= 0) & (sx < 9) & (sy >= 0) & (sy < 6)
        square = dr.gather(mi.Int32, self.squares, mi.UInt32(dr.select(on_board, sy * 9 + sx, 0)), on_board)
        uu = dr.select(card, u - 28 * sx - 4, u + size / 2) * (8 / size)
        vv = dr.select(card, v - 28 * sy - 4, v + size / 2) * (8 / size)
        inside = (uu >= 0) & (uu < 8) & (vv >= 0) & (vv < 8)
        row = dr.select(card, self.first_card_cell + dr.maximum(square, 0), mi.Int32(k))
        idx = mi.UInt32(row) * 64 + mi.UInt32(dr.select(inside, dr.floor(vv) * 8 + dr.floor(uu), 0))
        bit = dr.gather(mi.Float, self.cells, idx, active & inside)
        r = [g(a) for a in self.raster]
        x, y = (u - r[3]) * r[5], (v - r[4]) * r[5]
        x0, y0 = dr.clip(mi.Int32(dr.floor(x)), 0, r[1] - 2), dr.clip(mi.Int32(dr.floor(y)), 0, r[2] - 2)
        fx, fy = dr.clip(x - x0, 0, 1), dr.clip(y - y0, 0, 1)
        t = lambda i, j: dr.gather(mi.Float, self.ink, mi.UInt32(r[0] + (y0 + j) * r[1] + x0 + i), active)
        drawn = (t(0, 0) * (1 - fx) + t(1, 0) * fx) * (1 - fy) + (t(0, 1) * (1 - fx) + t(1, 1) * fx) * fy
        out = dr.select(card & on_board,
                        dr.select(square < 0, mi.Float(0), dr.select(inside, bit, mi.Float(1))),
                        dr.select(~card & inside, bit, drawn))
        return dr.select(depth > 0.9, mi.Float(1), out), c[13]


class Scene:
    """A soup ready to be looked at; lights is a list of Mitsuba shape dictionaries that shine."""

    def __init__(self, soup, markers, card, lights):
        self.table = materials.tables()
        thr = 0.5 + 0.20 * ndtri(np.clip(1 - self.table["cover"], 1e-4, 1 - 1e-4))
        self.look = {k: v for k, v in self.table.items()}
        self.look["thr"] = thr.astype(np.float32)
        self.prints = PrintTable(markers, card)
        self.shapes = mi.load_dict({"type": "scene", "all": _mesh(soup["P"], soup["N"])})
        parts = {"type": "scene"}
        for k, m in enumerate(materials.MATERIALS.values()):
            pick = soup["material"] == k
            if pick.any():
                parts[f"mat{k}"] = _mesh(soup["P"][pick], soup["N"][pick], _bsdf(m))
        for k, shape in enumerate(lights):
            parts[f"light{k}"] = shape
        self.lit = mi.load_dict(parts)
        self.Q = mi.Float(soup["Q"].astype(np.float32).ravel())
        self.N = mi.Float(soup["N"].astype(np.float32).ravel())
        self.material = mi.UInt32(soup["material"].astype(np.uint32))
        self.part = mi.UInt32(soup["part"].astype(np.uint32))
        self.print = mi.Int32(soup["print"].astype(np.int32))
        self.tab = {k: mi.Float(v.ravel()) for k, v in self.look.items()}

    # rays and hits -------------------------------------------------------------
    def rays(self, camera, x, y):
        """Rays through pixel places x, y (Float64 arrays)."""
        (fx, _, cx), (_, fy, cy), _ = camera.K.tolist()
        xn, yn = lens.undistort((x - cx) / fx, (y - cy) / fy, camera.distortion)
        R, o = camera.R.tolist(), camera.place
        d = [R[0][k] * xn + R[1][k] * yn + R[2][k] for k in range(3)]
        n = 1 / dr.sqrt(d[0] * d[0] + d[1] * d[1] + d[2] * d[2])
        return mi.Ray3f(mi.Point3f(*[float(v) for v in o]), mi.Vector3f(*[mi.Float(v * n) for v in d]))

    def hit(self, ray):
        """Nearest hit: distance, triangle, normal towards the camera, part; and whether there is one."""
        pi = self.shapes.ray_intersect_preliminary(ray, coherent=True)
        ok = pi.is_valid()
        prim = dr.select(ok, pi.prim_index, 0)
        b1, b2 = pi.prim_uv.x, pi.prim_uv.y
        n = self._blend(self.N, prim, b1, b2)
        n = dr.normalize(mi.Vector3f(n))
        n = dr.select(dr.dot(n, ray.d) > 0, -n, n)
        return pi.t, prim, (b1, b2), n, dr.gather(mi.UInt32, self.part, prim), ok

    def _blend(self, data, prim, b1, b2):
        v = [[dr.gather(mi.Float, data, prim * 9 + 3 * k + a) for a in range(3)] for k in range(3)]
        w = (1 - b1 - b2, b1, b2)
        return mi.Point3f(*[v[0][a] * w[0] + v[1][a] * w[1] + v[2][a] * w[2] for a in range(3)])

    # light ---------------------------------------------------------------------
    def trace_light(self, camera, samples=64, seed=1):
        """Light at every COARSE-th pixel each way, smoothed; kept for shading."""
        self.cw, self.ch = -(-lens.WIDTH_PX // COARSE), -(-lens.HEIGHT_PX // COARSE)
        n = self.cw * self.ch
        i = dr.arange(mi.UInt32, n)
        place = lambda i: (Float64(i % self.cw) * COARSE + (COARSE - 1) / 2,
                           Float64(i // self.cw) * COARSE + (COARSE - 1) / 2)
        ray = self.rays(camera, *place(i))
        t, prim, _b, nrm, part, ok = self.hit(ray)
        self.c_n = dr.select(ok, nrm, mi.Vector3f(0, 0, 1))
        self.c_part = dr.select(ok, part, 0xffffff)
        self.c_p = ray(dr.select(ok, t, 1e5))
        dr.eval(self.c_n, self.c_part, self.c_p)
        mat = dr.gather(mi.UInt32, self.material, prim)
        tracer = mi.load_dict({"type": "path", "max_depth": 5, "rr_depth": 2, "hide_emitters": True})
        total = mi.Color3f(0)
        chunk = 8
        for c in range(samples // chunk):
            sampler = mi.load_dict({"type": "independent"})
            sampler.seed(seed * 1000 + c, n * chunk)
            k = dr.arange(mi.UInt32, n * chunk) // chunk
            spec, _, _ = tracer.sample(self.lit, sampler, self.rays(camera, *place(k)))
            spec = dr.minimum(dr.select(dr.isfinite(spec), spec, 0), 6.0)
            total += mi.Color3f(*[dr.block_sum(spec[a], chunk) for a in range(3)]) / samples
            dr.eval(total)
        mean = [dr.gather(mi.Float, self.tab["mean"], mat * 3 + a) for a in range(3)]
        raw = [dr.select(ok, total[a] / mean[a], 0) for a in range(3)]
        dr.eval(raw)
        self.light = self._smooth(raw, 1)
        self.light = self._smooth(self.light, 3)
        dr.sync_thread()

    def _smooth(self, light, step):
        """One pass of smoothing over 5 x 5 points `step` apart, within a part and along its surface."""
        i = dr.arange(mi.UInt32, self.cw * self.ch)
        x, y = mi.Int32(i % self.cw), mi.Int32(i // self.cw)
        acc, weight = [mi.Float(0)] * 3, mi.Float(0)
        for dx in range(-2, 3):
            for dy in range(-2, 3):
                qx, qy = x + dx * step, y + dy * step
                inside = (qx >= 0) & (qx < self.cw) & (qy >= 0) & (qy < self.ch)
                q = mi.UInt32(dr.select(inside, qy * self.cw + qx, 0))
                w = self._alike(q, self.c_p, self.c_n, self.c_part, mi.Float(0)) * float(
                    np.exp(-(dx * dx + dy * dy) / 5))
                w = dr.select(inside, w, 0)
                weight += w
                for a in range(3):
                    acc[a] = acc[a] + w * dr.gather(mi.Float, light[a], q)
        out = [a / dr.maximum(weight, 1e-9) for a in acc]
        dr.eval(out)
        return out

    def _alike(self, q, p, n, part, floor):
        """How far coarse point q may lend its light to a point p with normal n."""
        cp, cn = dr.gather(mi.Point3f, self.c_p, q), dr.gather(mi.Vector3f, self.c_n, q)
        same = dr.gather(mi.UInt32, self.c_part, q) == part
        along = dr.maximum(dr.dot(cn, n), 0)
        off = dr.dot(cp - p, n) / 9.0
        return dr.select(same, along ** 6 * dr.exp(-off * off), 0) + floor

    # shading -------------------------------------------------------------------
    def shade(self, camera, x, y):
        """Colour, part, print and distance (mm) at pixel places x, y: (Color3f, UInt32, Int32, Float)."""
        ray = self.rays(camera, x, y)
        t, prim, (b1, b2), n, part, ok = self.hit(ray)
        p = ray(dr.select(ok, t, 1e5))
        mat = dr.gather(mi.UInt32, self.material, prim)
        look = lambda key: dr.gather(mi.Float, self.tab[key], mat)
        look3 = lambda key: mi.Color3f(*[dr.gather(mi.Float, self.tab[key], mat * 3 + a) for a in range(3)])
        q = self._blend(self.Q, prim, b1, b2)
        q = mi.Point3f(q.x * look("stretch"), q.y, q.z)
        q = q + mi.Point3f(37.0, 11.0, 53.0) * mi.Float(part % 17)
        vol = noise()
        s = look("scale")
        n1, n2, n3 = vol.eval(q / (1280.0 * s)), vol.eval(q / (250.0 * s)), vol.eval(q / 52.0)
        mixed = 0.55 * n1[0] + 0.45 * n2[1]
        amount = dr.clip((mixed - look("thr")) / look("soft") + 0.5, 0, 1)
        colour = look3("base") * (1 - amount) + look3("alt") * amount
        fine = 1 + look("grain") * 2 * (n3[0] - 0.5) + look("vary") * 2 * (n1[2] - 0.5) + look("grain") * (
            n2[3] - 0.5)
        bump = look("bump") * 2 * ((n3[1] - 0.5) + 0.7 * (n2[2] - 0.5))
        colour = colour * dr.maximum(fine + bump, 0.2)
        dusty = dr.clip(look("dust") * dr.maximum(n.z, 0) ** 2 * (0.3 + 1.2 * n2[0]), 0, 0.85)
        colour = colour * (1 - dusty) + mi.Color3f(*DUST) * dusty
        k = dr.gather(mi.Int32, self.print, prim)
        on = k >= 0
        paper, dirt = self.prints.paper(mi.UInt32(dr.maximum(k, 0)), p, on)
        smudge = dr.clip((0.5 * n1[3] + 0.5 * n2[3] - 0.54) / 0.18, 0, 1) * dirt * 0.60 + dirt * 0.05 * n2[0]
        print_colour = mi.Color3f(
            *[paper * float(a) + (1 - paper) * float(b) for a, b in zip(PAPER_WHITE, INK, strict=False)])
        print_colour = print_colour * (1 + 0.02 * (n3[2] - 0.5))
        print_colour = print_colour * (1 - smudge) + mi.Color3f(0.085, 0.066, 0.048) * smudge
        colour = dr.select(on, print_colour, colour)
        light = self._light_at(x, y, p, n, part)
        return dr.select(ok, colour * light, mi.Color3f(0.02)), dr.select(ok, part,
                                                                          0), k, dr.select(ok, t, 1e4)

    def print_at(self, camera, pixels):
        """Which print (or -1) each pixel place shows; pixels (n, 2)."""
        x, y = Float64(np.ascontiguousarray(pixels[:, 0])), Float64(np.ascontiguousarray(pixels[:, 1]))
        _, prim, _, _, _, ok = self.hit(self.rays(camera, x, y))
        return np.array(dr.select(ok, dr.gather(mi.Int32, self.print, prim), -1))

    def _light_at(self, x, y, p, n, part):
        cx = mi.Float(x) / COARSE + (0.5 / COARSE - 0.5)
        cy = mi.Float(y) / COARSE + (0.5 / COARSE - 0.5)
        ix, iy = mi.Int32(dr.floor(cx + 0.5)), mi.Int32(dr.floor(cy + 0.5))
        acc, weight = mi.Color3f(0), mi.Float(0)
        for dx in (-1, 0, 1):
            for dy in (-1, 0, 1):
                qx, qy = dr.clip(ix + dx, 0, self.cw - 1), dr.clip(iy + dy, 0, self.ch - 1)
                q = mi.UInt32(qy * self.cw + qx)
                near = dr.maximum(1.5 - dr.abs(cx - qx), 0.02) * dr.maximum(1.5 - dr.abs(cy - qy), 0.02)
                w = near * self._alike(q, p, n, part, mi.Float(2e-4))
                weight += w
                acc += w * mi.Color3f(*[dr.gather(mi.Float, self.light[a], q) for a in range(3)])
        return acc / dr.maximum(weight, 1e-9)


# 16 places in a pixel whose x and y each take 16 even steps
_VDC = [int(f"{k:04b}"[::-1], 2) for k in range(SUB)]
SUB_X = (np.arange(SUB) + 0.5) / SUB - 0.5
SUB_Y = (np.array(_VDC) + 0.5) / SUB - 0.5


def picture(scene, camera, rows_per_tile=425):
    """Linear colours (HEIGHT_PX, WIDTH_PX, 3) float32, each pixel the mean over its square, and
    at pixel centres the distance in mm (float32) and the print (int32, -1 none)."""
    W, H = lens.WIDTH_PX, lens.HEIGHT_PX
    out = np.empty((H, W, 3), np.float32)
    part = np.empty((H, W), np.int32)
    kind = np.empty((H, W), np.int32)
    far = np.empty((H, W), np.float32)
    for r0 in range(0, H, rows_per_tile):
        rows = min(rows_per_tile, H - r0)
        i = dr.arange(mi.UInt32, rows * W)
        c, p, k, t = scene.shade(camera, Float64(i % W), Float64(i // W) + dr.opaque(Float64, r0))
        dr.eval(c, p, k, t)
        out[r0:r0 + rows] = np.stack([np.array(c[a]) for a in range(3)], -1).reshape(rows, W, 3)
        part[r0:r0 + rows] = np.array(p).reshape(rows, W)
        kind[r0:r0 + rows] = np.array(k).reshape(rows, W)
        far[r0:r0 + rows] = np.array(t).reshape(rows, W)
    ys, xs = np.nonzero(_busy(out, part, kind))
    chunk = 1 << 18
    for a in range(0, len(xs), chunk):
        bx, by = xs[a:a + chunk], ys[a:a + chunk]
        n = len(bx)
        full = np.zeros((2, chunk))
        full[0, :n], full[1, :n] = bx, by
        i = dr.arange(mi.UInt32, chunk * SUB)
        px, sub = i // SUB, i % SUB
        x = dr.gather(Float64, Float64(full[0]), px) + dr.gather(Float64, Float64(SUB_X), sub)
        y = dr.gather(Float64, Float64(full[1]), px) + dr.gather(Float64, Float64(SUB_Y), sub)
        c = scene.shade(camera, x, y)[0]
        mean = [np.array(dr.block_sum(c[q], SUB))[:n] / SUB for q in range(3)]
        out[by, bx] = np.stack(mean, -1)
    return np.nan_to_num(out, posinf=0.0, neginf=0.0), far, kind


def _busy(colour, part, kind):
    """Pixels where more than one ray is needed: a part's, a print's or a strong texture's edge is near."""
    import cv2
    box = np.ones((3, 3), np.uint8)
    lum = np.log2(np.maximum(colour.mean(-1), 1e-4))
    contrast = cv2.dilate(lum, box) - cv2.erode(lum, box)
    p = part.astype(np.float32)
    change = cv2.dilate(p, box) != cv2.erode(p, box)
    printed = cv2.dilate((kind >= 0).astype(np.uint8), box) > 0
    return change | (contrast > 0.8) | (printed & (contrast > 0.12))
