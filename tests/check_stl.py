"""Checks an STL file with an independent library (trimesh): closed, consistent, volume in mm3.

Usage: check_stl.py FILE [VOLUME_MM3 [SHARE]]; exits 1 where something is wrong, 77 without trimesh.
"""

import sys

try:
    import trimesh
except ImportError:
    print("not run: trimesh is not installed (pip install trimesh)")
    sys.exit(77)

mesh = trimesh.load(sys.argv[1], file_type="stl")
good = mesh.is_watertight and mesh.is_winding_consistent and mesh.volume > 0
parts = mesh.body_count
print(
    f"{sys.argv[1]}: {len(mesh.faces)} facets, watertight {mesh.is_watertight}, "
    f"consistent {mesh.is_winding_consistent}, {parts} part(s), Euler {mesh.euler_number}, "
    f"volume {mesh.volume:.2f} mm3"
)
good = good and parts == 1
if len(sys.argv) > 2:
    wanted = float(sys.argv[2])
    share = float(sys.argv[3]) if len(sys.argv) > 3 else 0.005
    off = mesh.volume / wanted - 1
    print(f"  wanted {wanted:.2f} mm3: {100 * off:+.3f} %")
    good = good and abs(off) <= share
sys.exit(0 if good else 1)
