"""Render the sample surveys: ``python render.py [--house lock_cottage] [--scale 0.1] [--samples 16] --out FOLDER``.

Rendered, not photographed. ``--variant cuda_ad_rgb`` wants a graphics card; ``llvm_ad_rgb`` and ``scalar_rgb`` do not.
Marks and truth do not depend on the picture: ``--no-pictures`` writes only survey.json and truth.json.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import scene_brick
import scene_room
import survey_files
import textures as tx
from camera_pipeline import Array, Camera, bend, camera_of, develop, film_size, save_photo
from houses import House, Shot
from meshes import Model
from our_houses import HOUSES
from scene_room import Material, gloss, matt, textured

HERE = Path(__file__).parent


def room_materials(house: House) -> dict[str, Material]:
    """What the room is made of."""
    rng = np.random.default_rng(house.seed)
    old = house.built < 1930
    plaster = tx.painted_plaster(rng, tx.linear(196, 186, 158) if old else tx.linear(214, 212, 204))
    paper = tx.wallpaper(rng, tx.linear(206, 204, 190), tx.linear(150, 172, 168), tx.linear(196, 148, 92))
    white = tx.painted_plaster(rng, tx.linear(226, 223, 214))
    boards, carpet = tx.floorboards(rng, tx.linear(158, 112, 68)), tx.carpet(rng, tx.linear(118, 112, 104))
    return {
        "wall": textured(plaster[0], 2.0, plaster[1]) if old else textured(paper[0], 1.06, paper[1]),
        "side": textured(white[0] * (tx.linear(176, 190, 186) / tx.linear(226, 223, 214)), 2.0, white[1])
        if old
        else textured(white[0], 2.0, white[1]),
        "ceiling": textured(white[0], 2.0, white[1]),
        "reveal": textured(white[0], 2.0, white[1]),
        "floor": textured(boards[0], 2.044, boards[1], 0.35) if old else textured(carpet[0], 0.6, carpet[1]),
        "rug": textured(tx.rug(rng), 1.0),
        "painting": textured(tx.landscape(rng), 1.0),
        "view": textured(tx.garden(rng), 1.0),
    }


def plain_materials(house: House) -> dict[str, Material]:
    """Plain colours, inside and out."""
    old = house.built < 1930
    return {
        "frame": gloss(tx.linear(228, 224, 210) if old else tx.linear(236, 236, 234), 0.28),
        "board": gloss(tx.linear(232, 228, 216), 0.28),
        "skirting": gloss(tx.linear(228, 224, 212), 0.28),
        "enamel": gloss(tx.linear(232, 231, 226), 0.25),
        "plastic": gloss(tx.linear(236, 236, 232), 0.25),
        "metal": gloss(tx.linear(120, 112, 96) if old else tx.linear(190, 190, 190), 0.3),
        "brass": gloss(tx.linear(176, 140, 76), 0.3),
        "wood": gloss(tx.linear(92, 58, 36), 0.35),
        "seat": gloss(tx.linear(120, 82, 50), 0.35),
        "pot": matt(tx.linear(168, 92, 62)),
        "leaf": matt(tx.linear(70, 104, 52)),
        "shade": matt(tx.linear(214, 196, 160)),
        "curtain": matt(tx.linear(168, 116, 60)),
        "tape": matt(tx.linear(214, 196, 150)),
        "red": matt(tx.linear(150, 44, 40)),
        "dark": matt((0.02, 0.02, 0.022)),
        "hole": matt((0.012, 0.012, 0.012)),
        "outer_reveal": matt(tx.linear(150, 92, 70)),
        "pipe": gloss(tx.linear(38, 40, 40), 0.35),
        "glass": gloss((0.012, 0.014, 0.015), 0.03),
    }


def bsdf(mi: Any, material: Material) -> dict[str, Any]:
    """A material as the renderer wants it."""

    def texture(values: Array) -> dict[str, Any]:
        return {
            "type": "bitmap",
            "bitmap": mi.Bitmap(np.ascontiguousarray(values, np.float32)),
            "raw": True,
            "wrap_mode": "repeat",
        }

    colour: Any = (
        texture(material["picture"])
        if "picture" in material
        else {"type": "rgb", "value": [float(v) for v in material["colour"]]}
    )
    rough = material.get("roughness")
    if rough is None:
        base: dict[str, Any] = {"type": "diffuse", "reflectance": colour}
    else:
        base = {"type": "principled", "base_color": colour, "roughness": float(rough), "specular": 0.5}
    height = material.get("height")
    if height is not None:
        base = {
            "type": "bumpmap",
            "arbitrary": texture(height[..., None]),
            "scale": 1.0 / float(material.get("height_tile", 1.0)),
            "bsdf": base,
        }
    return {"type": "twosided", "bsdf": base}


def build(mi: Any, house: House, side: str, detail: float, folder: Path) -> Any:
    """The scene of one side of the wall, ready to render."""
    model = Model()
    materials = plain_materials(house)
    if side == "inside":
        materials |= room_materials(house)
        scene_room.shell(model, house)
        scene_room.belongings(model, house)
        for item in house.features:
            (scene_room.radiator if item.kind == "radiator" else scene_room.socket)(model, item)
    else:
        bricks = scene_brick.lay(house)
        materials |= scene_brick.materials(house, bricks, detail)
        scene_brick.face(model, house, bricks)
        scene_brick.surroundings(model, house)
    scene_room.references(model, house, side, materials)
    scene: dict[str, Any] = {"type": "scene"}
    tiles = {name: float(material["tile"]) for name, material in materials.items()}
    for name, path in model.write(folder, tiles).items():
        scene[name] = {"type": "ply", "filename": str(path), "face_normals": True, "bsdf": bsdf(mi, materials[name])}
    scene |= lights(mi, house, materials) if side == "inside" else sky(mi, house)
    return mi.load_dict(scene)


def lights(mi: Any, house: House, materials: dict[str, Material]) -> dict[str, Any]:
    """The bright view behind the glass, and a second window behind the photographer."""
    T = mi.ScalarTransform4f
    x0, y0, x1, y1 = house.opening_back
    z = -house.total - 0.05
    view = T().translate([(x0 + x1) / 2, (y0 + y1) / 2, z]).scale([(x1 - x0) / 2 + 0.08, (y1 - y0) / 2 + 0.08, 1])
    picture = np.flipud(materials["view"]["picture"]) * 6.5
    width = house.width
    other = T().translate([0.30 * width, 1.35, house.depth - 0.02]).rotate([0, 1, 0], 180).scale([0.75, 0.75, 1])
    return {
        "view": {
            "type": "rectangle",
            "to_world": view,
            "bsdf": {"type": "diffuse", "reflectance": {"type": "rgb", "value": 0.0}},
            "emitter": {
                "type": "area",
                "radiance": {"type": "bitmap", "bitmap": mi.Bitmap(np.ascontiguousarray(picture)), "raw": True},
            },
        },
        "other": {
            "type": "rectangle",
            "to_world": other,
            "emitter": {"type": "area", "radiance": {"type": "rgb", "value": [7.6, 7.4, 7.0]}},
        },
    }


def sky(mi: Any, house: House) -> dict[str, Any]:
    """Sky, trees opposite (for the glass to mirror), and for the younger house an afternoon sun."""
    rng = np.random.default_rng(house.seed + 3)
    rows, columns = 256, 512
    up = np.linspace(1, -1, rows)[:, None, None]
    picture = np.where(up > 0, 0.75 + 0.5 * up, 0.16) * np.array([0.92, 1.0, 1.12]) * np.ones((1, columns, 1))
    trees = 0.16 + 0.10 * tx.noise(rng, (8, columns), 6, 160, 1.0)[0]
    dark = (up[..., 0] > -0.05) & (up[..., 0] < np.clip(trees, 0.03, 0.5))
    picture[dark] = (0.07, 0.09, 0.05)
    picture = cv2.GaussianBlur(picture, (0, 0), 1.2)
    out: dict[str, Any] = {"sky": {"type": "envmap", "bitmap": mi.Bitmap(picture.astype(np.float32))}}
    if house.bond == "stretcher":
        out["sun"] = {
            "type": "directional",
            "direction": [0.62, -0.66, -0.80],
            "irradiance": {"type": "rgb", "value": [2.3, 2.1, 1.75]},
        }
    return out


def shoot(mi: Any, scene: Any, camera: Camera, samples: int, seed: int, denoise: bool) -> Array:
    """Path-trace one pinhole film, a little larger than the picture: linear light (rows, columns, 3)."""
    w, h = film_size(camera)
    T = mi.ScalarTransform4f
    sensor = mi.load_dict(
        {
            "type": "perspective",
            "fov_axis": "x",
            "fov": float(np.degrees(2 * np.arctan(w / 2 / camera.f))),
            "to_world": T().look_at(
                origin=camera.at.tolist(), target=(camera.at + camera.R[2]).tolist(), up=(-camera.R[1]).tolist()
            ),
            "near_clip": 0.01,
            "far_clip": 100.0,
            "film": {
                "type": "hdrfilm",
                "width": w,
                "height": h,
                "pixel_format": "rgb",
                "component_format": "float32",
                "rfilter": {"type": "box"},
            },
            "sampler": {"type": "independent"},
        }
    )
    path = {"type": "path", "max_depth": 9, "rr_depth": 6}
    integrator = mi.load_dict({"type": "aov", "aovs": "albedo:albedo,nn:sh_normal", "img": path} if denoise else path)
    step = 16 if samples > 16 else samples
    total: Any = None
    for k in range(max(samples // step, 1)):
        part = np.minimum(
            np.array(mi.render(scene, sensor=sensor, integrator=integrator, spp=step, seed=seed * 1000 + k)), 9.0
        )
        total = part if total is None else total + part
    total = total / max(samples // step, 1)
    if not denoise:
        return np.asarray(total[..., :3], np.float32)
    clean = mi.OptixDenoiser(input_size=(w, h), albedo=True, normals=True, temporal=False)
    layers = [mi.TensorXf(np.ascontiguousarray(total[..., a:b])) for a, b in ((0, 3), (3, 6), (6, 9))]
    smooth = np.array(
        clean(layers[0], albedo=layers[1], normals=layers[2], to_sensor=sensor.world_transform().inverse())
    )
    return np.asarray(0.85 * smooth[..., :3] + 0.15 * total[..., :3], np.float32)


def exposure_of(light: Array, side: str) -> float:
    """What an automatic exposure would choose."""
    grey = light.mean(2)
    level = float(np.exp(np.log(np.clip(grey, 1e-4, np.percentile(grey, 80))).mean()))
    return (0.31 if side == "inside" else 0.165) / level


def picture_of(mi: Any, scene: Any, house: House, shot: Shot, args: argparse.Namespace) -> Array:
    """One finished picture, upright, 8-bit RGB."""
    camera = camera_of(house, shot)
    if args.scale != 1.0:
        camera = camera.smaller(args.scale)
    number = house.shots.index(shot) + house.seed
    light = bend(shoot(mi, scene, camera, args.samples, number, args.denoise), camera)
    if args.keep_light:
        stops = np.clip((np.log2(np.maximum(light, 1e-4)) + 12) / 18 * 255, 0, 255)
        cv2.imwrite(
            str(args.out / house.folder / f"{shot.file}.light.jpg"),
            stops[..., ::-1].astype(np.uint8),
            [cv2.IMWRITE_JPEG_QUALITY, 93],
        )
    return develop(light, camera, np.random.default_rng(number), exposure_of(light, shot.side))


def main() -> None:
    """Write the sample surveys."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--house", action="append", choices=sorted(HOUSES))
    ask.add_argument("--photo", action="append", help="only these files")
    ask.add_argument("--scale", type=float, default=1.0)
    ask.add_argument("--samples", type=int, default=192)
    ask.add_argument("--quality", type=int, default=88)
    ask.add_argument("--variant", default="llvm_ad_rgb")
    ask.add_argument("--denoise", action="store_true", help="clean with the card's denoiser (cuda only)")
    ask.add_argument("--no-pictures", action="store_true")
    ask.add_argument("--keep-light", action="store_true", help="also keep the linear picture, log-coded")
    ask.add_argument("--out", type=Path, default=HERE)
    args = ask.parse_args()
    import mitsuba as mi

    mi.set_variant("scalar_rgb" if args.no_pictures else args.variant)
    for name in args.house or sorted(HOUSES):
        house = HOUSES[name]
        (args.out / name).mkdir(parents=True, exist_ok=True)
        hidden: survey_files.Hidden = {}
        for side in ("inside", "outside"):
            with tempfile.TemporaryDirectory() as folder:
                scene = build(
                    mi, house, side, min(1.0, max(0.25, 2 * args.scale)) if not args.no_pictures else 0.1, Path(folder)
                )
                for shot in (s for s in house.shots if s.side == side):
                    if args.no_pictures:
                        hidden[shot.file] = survey_files.hidden_points(mi, scene, house, shot)
                    if args.no_pictures or (args.photo and shot.file not in args.photo):
                        continue
                    start = time.monotonic()
                    picture = picture_of(mi, scene, house, shot, args)
                    save_photo(args.out / name / shot.file, picture, house, shot, args.quality)
                    print(f"{name}/{shot.file}: {time.monotonic() - start:.0f} s", flush=True)
        if args.no_pictures:
            survey_files.write(args.out / name, house, hidden)


if __name__ == "__main__":
    main()
