"""Cost surfaces of general-purpose programs, to compare with ours.

reference.py FOLDER CELLS ROW COL: FOLDER/friction.f32 holds a square of so many
cells a side, row by row. Writes mcp.f64 (scikit-image, MCP_Geometric) and
grass.f32 (GRASS GIS, r.cost -k), and prints the processor seconds of each.
"""
import json
import os
import resource
import subprocess
import sys
import time


def children():
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def grass_job(folder, n, row, col):
    quiet = dict(check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    edge = [f"n={n}", "s=0", f"e={n}", "w=0"]
    subprocess.run(["g.region", *edge, f"rows={n}", f"cols={n}"], **quiet)
    subprocess.run(["r.in.bin", "-f", "input=" + os.path.join(folder, "friction.f32"), "output=friction", "north=%d" % n, "south=0", "east=%d" % n, "west=0", f"rows={n}", f"cols={n}"], **quiet)
    before = children()
    subprocess.run(["r.cost", "-k", "input=friction", "output=cost", f"start_coordinates={col + 0.5},{n - row - 0.5}", "memory=1000"], **quiet)
    seconds = children() - before
    subprocess.run(["r.out.bin", "-f", "input=cost", "output=" + os.path.join(folder, "grass.f32"), "bytes=4"], **quiet)
    with open(os.path.join(folder, "grass.json"), "w") as f:
        json.dump(seconds, f)


def main():
    folder, n, row, col = sys.argv[1], int(sys.argv[2]), int(sys.argv[3]), int(sys.argv[4])
    if len(sys.argv) > 5:
        return grass_job(folder, n, row, col)
    import numpy as np
    from skimage.graph import MCP_Geometric
    friction = np.fromfile(os.path.join(folder, "friction.f32"), dtype="<f4").reshape(n, n).astype("f8")
    search = MCP_Geometric(friction)
    before = time.process_time()
    costs, _ = search.find_costs([(row, col)])
    mcp = time.process_time() - before
    costs.astype("<f8").tofile(os.path.join(folder, "mcp.f64"))
    subprocess.run(["grass", "--tmp-location", "XY", "--exec", sys.executable, os.path.abspath(__file__), *sys.argv[1:5], "job"],
                   check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    with open(os.path.join(folder, "grass.json")) as f:
        print(json.dumps({"mcp": mcp, "grass": json.load(f)}))


main()
