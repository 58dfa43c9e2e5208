"""Photos made by a path tracer, with the phone's lens, noise, tone curve, sharpening and JPEG on top.

``python -m tests.bench.silhouettes.render FOLDER [--held-out] [--things A:B] [--views N]``. Needs `mitsuba`, which is
no dependency, and LLVM from 16 on (``DRJIT_LIBLLVM_PATH`` says where).
"""

import argparse
import io
import json
import sys
from functools import lru_cache
from math import radians
from pathlib import Path

import cv2
import mitsuba as mi
import numpy as np
import pypdfium2
import shapely
from PIL import Image

from tests.bench.silhouettes.things import HELD_OUT, THINGS
from tests.bench.silhouettes.views import camera_of, distort, views_of
from worker.output.drawings.reference_sheet import write_reference_sheet
from worker.silhouettes.photo.sheet import reference_sheet

mi.set_variant("llvm_ad_rgb")

_SAMPLES = 16
_TEXTURE = 14.0  # pixels of the sheet's texture a mm
HELD_OUT_FROM = 300  # seeds of the held-out photos differ from all others
_MARGIN = 1.12  # how much more is rendered than is seen, for the distortion


def _rgb(*channels):
    return {"type": "rgb", "value": list(channels)}


def _diffuse(*channels):
    return {"type": "twosided", "bsdf": {"type": "diffuse", "reflectance": _rgb(*channels)}}


def _plastic(*channels, alpha=0.1):
    return {
        "type": "twosided",
        "bsdf": {"type": "roughplastic", "diffuse_reflectance": _rgb(*channels), "alpha": alpha, "distribution": "ggx"},
    }


LOOKS = {
    "metal": {"type": "twosided", "bsdf": {"type": "roughconductor", "material": "Cr", "alpha": 0.08}},
    "brushed": {"type": "twosided", "bsdf": {"type": "roughconductor", "material": "Al", "alpha": 0.25}},
    "black": _plastic(0.02, 0.02, 0.022),
    "white": _plastic(0.8, 0.8, 0.78),
    "grey": _diffuse(0.3, 0.3, 0.31),
    "blue": _plastic(0.04, 0.1, 0.45),
    "red": _plastic(0.5, 0.03, 0.03),
    "orange": _plastic(0.75, 0.22, 0.03),
    "yellow": _plastic(0.75, 0.55, 0.05),
    "green": _plastic(0.1, 0.45, 0.12),
    "skin": _diffuse(0.6, 0.36, 0.26),
    "wood": _diffuse(0.42, 0.26, 0.13),
}


@lru_cache(maxsize=2)
def _sheet_texture(size, tint):
    page = pypdfium2.PdfDocument(write_reference_sheet(size, tint))[0]
    image = page.render(scale=_TEXTURE * 25.4 / 72.0).to_numpy()[..., 2::-1].astype(np.float32) / 255.0
    linear = np.where(image <= 0.04045, image / 12.92, ((image + 0.055) / 1.055) ** 2.4)
    linear = cv2.GaussianBlur(linear, (0, 0), 0.06 * _TEXTURE)  # ink spreads
    return 0.045 + 0.80 * linear


def _lights(view, rng):
    """Return emitters: what is around reflects in metal, and a lamp or window casts the shadow."""
    rows, columns = 32, 64
    around = rng.uniform(0.15, 0.5, (8, 16, 1)) * rng.uniform(0.9, 1.1, (8, 16, 3))
    around = cv2.resize(around.astype(np.float32), (columns, rows), interpolation=cv2.INTER_CUBIC)
    strength = {"soft": 0.9, "hard": 0.35, "window": 0.6, "spots": 0.5}[view.light]
    lights = {
        "around": {
            "type": "envmap",
            "bitmap": mi.Bitmap(np.clip(around, 0.05, 1.0) * strength),
            "to_world": mi.ScalarTransform4f().rotate([1, 0, 0], 90),
        }
    }
    angle = rng.uniform(0, 2 * np.pi)
    side = np.array([np.cos(angle), np.sin(angle), 0.0])
    middle = np.array([95.0, 135.0, 0.0])

    def lamp(at, half, power, colour):
        aim = mi.ScalarTransform4f().look_at(
            origin=[float(v) for v in at], target=[float(v) for v in middle], up=[0.1, 0.3, 1]
        )
        area = 4 * half[0] * half[1]
        radiance = [float(power * channel / area * np.sum((at - middle) ** 2)) for channel in colour]
        return {
            "type": "rectangle",
            "to_world": aim @ mi.ScalarTransform4f().scale([half[0], half[1], 1]),
            "emitter": {"type": "area", "radiance": _rgb(*radiance)},
        }

    warm, cool = (1.08, 1.0, 0.85), (0.93, 1.0, 1.1)
    if view.light == "soft":
        lights["lamp"] = lamp(middle + 900 * side + np.array([0, 0, 1700]), (900, 900), 1.2, (1, 1, 1))
    elif view.light == "hard":
        lights["lamp"] = lamp(middle + 700 * side + np.array([0, 0, 1300]), (25, 25), 2.2, warm)
    elif view.light == "window":
        lights["lamp"] = lamp(middle + 1600 * side + np.array([0, 0, 900]), (500, 700), 1.8, cool)
    else:
        for index in range(3):
            turned = angle + 2.1 * index + rng.uniform(-0.3, 0.3)
            at = middle + np.array([900 * np.cos(turned), 900 * np.sin(turned), 1800])
            lights[f"lamp{index}"] = lamp(at, (45, 45), 0.8, warm)
    return lights


def _mesh(name, corners, triangles, bsdf):
    properties = mi.Properties()
    properties["bsdf"] = mi.load_dict(bsdf)
    properties["face_normals"] = True
    mesh = mi.Mesh(name, len(corners), len(triangles), props=properties)
    parameters = mi.traverse(mesh)
    parameters["vertex_positions"] = mi.Float(corners.astype(np.float32).ravel())
    parameters["faces"] = mi.UInt32(triangles.astype(np.uint32).ravel())
    parameters.update()
    return mesh


def placed(thing, view, sheet):
    """Return the thing's corners in the sheet's frame, and its triangles."""
    corners, triangles = thing.mesh()
    x, y, turn = view.place
    cosine, sine = np.cos(radians(turn)), np.sin(radians(turn))
    left, bottom, right, top = sheet.field
    moved = corners @ np.array([[cosine, sine, 0], [-sine, cosine, 0], [0, 0, 1]])
    return moved + np.array([(left + right) / 2 + x, (bottom + top) / 2 + y, 0.0]), triangles


def projected(corners, triangles, centre=None):
    """Return the outline of a mesh on z = 0, from straight above or as seen from a centre."""
    flat = corners[:, :2].copy()
    if centre is not None:
        flat = centre[:2] + (flat - centre[:2]) * (centre[2] / (centre[2] - corners[:, 2]))[:, None]
    return shapely.union_all(shapely.set_precision(shapely.polygons(flat[triangles]), 1e-4)).buffer(1e-3).buffer(-1e-3)


def render(thing, view, tint=None, samples=_SAMPLES, bent=0.0):
    """Return linear light `(rows, columns, 3) float32` as the lens forms it, and the camera.

    ``bent`` is the rise of the sheet's left and right edges, mm.
    """
    sheet = reference_sheet(view.size)
    focal, rotation, centre, distortion = camera_of(view, sheet)
    rng = np.random.default_rng([view.seed, 3])
    columns, rows = view.pixels
    wide, high = round(columns * _MARGIN), round(rows * _MARGIN)
    texture = _sheet_texture(view.size, tint or thing.tint)
    # the bitmap's first row is at v = 0 of a mesh, so that it is turned upside down here
    scene = {
        "type": "scene",
        "integrator": {"type": "path", "max_depth": 5},
        "sensor": {
            "type": "perspective",
            "fov": float(np.degrees(2 * np.arctan(wide / 2 / focal))),
            "fov_axis": "x",
            "near_clip": 10.0,
            "far_clip": 10000.0,
            "to_world": mi.ScalarTransform4f().look_at(
                origin=[float(v) for v in centre],
                target=[float(v) for v in centre + rotation[2]],
                up=[float(v) for v in -rotation[1]],
            ),
            "film": {"type": "hdrfilm", "width": wide, "height": high, "rfilter": {"type": "box"}},
            "sampler": {"type": "independent", "sample_count": samples, "seed": view.seed},
        },
        "table": {
            "type": "rectangle",
            "to_world": mi.ScalarTransform4f().translate([95, 135, -0.2]).scale([1500, 1500, 1]),
            "bsdf": _diffuse(*rng.uniform(0.15, 0.5, 3)),
        },
        "sheet": _sheet(sheet, texture, bent),
        "thing": _mesh("thing", *placed(thing, view, sheet), LOOKS[thing.look]),
        **_lights(view, rng),
    }
    image = np.array(mi.render(mi.load_dict(scene), seed=view.seed))[..., :3]
    # where each pixel of the photo lies in the render: the distortion is inverted by iteration
    y, x = np.mgrid[0:rows, 0:columns].astype(np.float64)
    seen = np.stack([(x.ravel() - (columns - 1) / 2) / focal, (y.ravel() - (rows - 1) / 2) / focal], axis=1)
    straight = seen.copy()
    for _ in range(8):
        straight += seen - distort(straight, distortion)
    map_x = (straight[:, 0] * focal + (wide - 1) / 2).reshape(rows, columns).astype(np.float32)
    map_y = (straight[:, 1] * focal + (high - 1) / 2).reshape(rows, columns).astype(np.float32)
    lens = cv2.remap(image, map_x, map_y, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    return np.maximum(lens, 0.0), (focal, rotation, centre, distortion)


def _sheet(sheet, texture, bent):
    (x, y), (width, height) = sheet.corner, sheet.paper
    across = np.linspace(0, 1, 41)
    u, v = np.meshgrid(across, [0.0, 1.0])
    corners = np.stack([u * width - x, v * height - y, bent * (2 * u - 1) ** 2], axis=-1).reshape(-1, 3)
    index = np.arange(40)
    triangles = np.concatenate(
        [np.stack([index, index + 1, index + 42], 1), np.stack([index, index + 42, index + 41], 1)]
    )
    bsdf = {
        "type": "twosided",
        "bsdf": {
            "type": "diffuse",
            "reflectance": {"type": "bitmap", "bitmap": mi.Bitmap(texture.astype(np.float32)), "raw": True},
        },
    }
    properties = mi.Properties()
    properties["bsdf"] = mi.load_dict(bsdf)
    mesh = mi.Mesh("sheet", len(corners), len(triangles), props=properties, has_vertex_texcoords=True)
    parameters = mi.traverse(mesh)
    parameters["vertex_positions"] = mi.Float(corners.astype(np.float32).ravel())
    parameters["faces"] = mi.UInt32(triangles.astype(np.uint32).ravel())
    parameters["vertex_texcoords"] = mi.Float(np.stack([u, 1 - v], -1).reshape(-1, 2).astype(np.float32).ravel())
    parameters.update()
    return mesh


def despeckled(linear):
    """Return the render without the bright specks that few samples leave: no camera has them."""
    calm = np.stack([cv2.medianBlur(np.ascontiguousarray(linear[..., c].astype(np.float32)), 5) for c in range(3)], -1)
    level, calm_level = linear.mean(-1), calm.mean(-1)
    limit = 1.35 * calm_level + 0.02
    return linear * np.minimum(1.0, limit / np.maximum(level, 1e-6))[..., None]


def develop(linear, view, blur=0.6, quality=90):
    """Return a JPEG of linear light, as a phone makes it: white balance, noise, tone curve, sharpening, EXIF."""
    rng = np.random.default_rng([view.seed, 5])
    linear = despeckled(linear)
    # the tracer's own noise is averaged a little; the sensor's is added below
    linear = cv2.bilateralFilter(linear.astype(np.float32), 5, 0.1 * float(np.percentile(linear, 99.0)), 1.5)
    image = linear * (0.92 / np.percentile(linear, 99.0)) * rng.uniform(0.94, 1.06, 3).astype(np.float32)
    image = cv2.GaussianBlur(image.astype(np.float32), (0, 0), blur)
    image += rng.normal(0, 1, image.shape).astype(np.float32) * np.sqrt(1.5e-4 * np.maximum(image, 0) + 4e-6)
    image = np.maximum(image, 0)
    image = np.where(image > 0.8, 0.8 + 0.2 * np.tanh((image - 0.8) / 0.2), image)
    encoded = np.where(image <= 0.0031308, 12.92 * image, 1.055 * np.maximum(image, 1e-9) ** (1 / 2.4) - 0.055)
    encoded += 0.08 * np.sin(2 * np.pi * (encoded - 0.5)) * 0.5  # a mild S-curve
    encoded = cv2.bilateralFilter(np.clip(encoded, 0, 1).astype(np.float32), 5, 0.04, 1.2)
    encoded += 0.35 * (encoded - cv2.GaussianBlur(encoded, (0, 0), 1.2))
    picture = Image.fromarray(np.clip(encoded * 255 + 0.5, 0, 255).astype(np.uint8))
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0xA405] = round(view.lens)
    file = io.BytesIO()
    picture.save(file, "JPEG", quality=quality, subsampling=2, exif=exif)
    return file.getvalue()


def truth(thing, view, camera):
    """Return what is true about a photo: outlines in the sheet's frame, and the camera."""
    corners, triangles = placed(thing, view, reference_sheet(view.size))
    _, _, centre, _ = camera
    return {
        "thing": thing.name,
        "body": thing.body,
        "thickness": thing.thickness,
        "light": view.light,
        "tilt": view.tilt,
        "height": float(centre[2]),
        "nadir": centre[:2].tolist(),
        "above": shapely.to_wkt(projected(corners, triangles), rounding_precision=4),
        "seen": shapely.to_wkt(projected(corners, triangles, centre), rounding_precision=4),
    }


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("folder", type=Path)
    parser.add_argument("--held-out", action="store_true")
    parser.add_argument("--things", default="0:6")
    parser.add_argument("--views", type=int, default=3)
    parser.add_argument("--first", type=int, default=0)
    options = parser.parse_args()
    options.folder.mkdir(parents=True, exist_ok=True)
    start, end = map(int, options.things.split(":"))
    things, first = (HELD_OUT, HELD_OUT_FROM) if options.held_out else (THINGS, 0)
    for turn in range(options.first, options.views):
        for index, thing in list(enumerate(things))[start:end]:
            corners, _ = thing.mesh()
            view = views_of(first + index, options.views, np.hypot(*corners[:, :2].T).max())[turn]
            path = options.folder / f"{thing.name.replace(' ', '-')}-{turn}.jpg"
            if path.with_suffix(".npy").exists():
                # light is kept, so that it can be developed once more
                linear = np.load(path.with_suffix(".npy")).astype(np.float32)
            else:
                linear, camera = render(thing, view)
                np.save(path.with_suffix(".npy"), linear.astype(np.float16))
                path.with_suffix(".json").write_text(json.dumps(truth(thing, view, camera), indent=1))
            path.write_bytes(develop(linear, view))
            print(path, file=sys.stderr, flush=True)


if __name__ == "__main__":
    main()
