"""Checks an STL file with an independent library (trimesh): closed, consistent, holes, volume in mm3.

Usage: check_stl.py FILE HOLES [VOLUME_MM3 [SHARE]]; exits 1 where something is wrong, 77 without trimesh.
"""

import sys

try:
    import trimesh
except ImportError:
    print("trimesh is not installed (pip install trimesh)")
    sys.exit(77)

mesh = trimesh.load(sys.argv[1], file_type="stl")
good = mesh.is_watertight and mesh.is_winding_consistent and mesh.volume > 0
parts = mesh.body_count
holes = parts - mesh.euler_number // 2
print(
    f"{sys.argv[1]}: {len(mesh.faces)} facets, watertight {mesh.is_watertight}, "
    f"consistent {mesh.is_winding_consistent}, {parts} part(s), Euler {mesh.euler_number}, "
    f"{holes} hole(s), volume {mesh.volume:.2f} mm3"
)
good = good and parts == 1 and holes == int(sys.argv[2])
if len(sys.argv) > 3:
    wanted = float(sys.argv[3])
    share = float(sys.argv[4]) if len(sys.argv) > 4 else 0.005
    off = mesh.volume / wanted - 1
    print(f"  wanted {wanted:.2f} mm3: {100 * off:+.3f} %")
    good = good and abs(off) <= share
sys.exit(0 if good else 1)
