"""usage: dask_shards.py NESTLINE

A population by Dask: one of three shards is killed and repeated, all are put together; the bytes are those of one run,
and DuckDB counts as many failures in the files.
"""

import subprocess
import sys
import tempfile
import time
from pathlib import Path

import psutil
from distributed import Client, LocalCluster

HERE = Path(__file__).parent
SHARDS = 3
SCENE = "embedded:scenes/left-tandem-retriever-first.ron"


def shard(number: int, nestline: str, out: str) -> int:
    """One shard; what fails raises, and is repeated where it was asked for."""
    part = ["--shard", f"{number}/{SHARDS}", "--threads", "1", "--out", out]
    subprocess.run([nestline, "vary", SCENE, "--ruler", "--cases", "48", *part], check=True)
    return number


def kill_one(out: str) -> None:
    """The program that works out the second shard, of those that were started from here, once it has begun."""
    for _ in range(600):
        ours = psutil.Process().children(recursive=True)
        if (Path(out) / f"cases-2-of-{SHARDS}").is_dir():
            for process in ours:
                try:
                    if f"2/{SHARDS}" in process.cmdline() and "--shard" in process.cmdline():
                        process.kill()
                        print("killed the program of shard 2")
                        return
                except psutil.Error:
                    continue
        time.sleep(0.05)
    raise SystemExit("shard 2 was never at work")


def main(nestline: str) -> None:
    begun = time.monotonic()
    with tempfile.TemporaryDirectory() as place:
        one, out = f"{place}/one", f"{place}/many"
        subprocess.run([nestline, "vary", SCENE, "--ruler", "--cases", "48", "--out", one], check=True, capture_output=True)
        print(f"one run: {time.monotonic() - begun:.0f} s from the start")
        cluster = LocalCluster(n_workers=SHARDS, threads_per_worker=1, dashboard_address=None)
        with cluster, Client(cluster) as client:
            parts = range(1, SHARDS + 1)
            sent = client.map(shard, parts, nestline=nestline, out=out, retries=0)
            kill_one(out)
            failed = [n for n, future in zip(parts, sent) if future.exception() is not None]
            print(f"failed: {failed}")
            assert failed == [2], failed
            missing = subprocess.run([nestline, "vary", "--merge", out], capture_output=True, text=True)
            print(missing.stderr.strip())
            assert missing.returncode == 2 and f"--shard 2/{SHARDS}" in missing.stderr
            # all of them once more: what is there is left as it is
            again = client.map(shard, parts, nestline=nestline, out=out, retries=2, pure=False)
            client.gather(again)
        subprocess.run([nestline, "vary", "--merge", out], check=True, capture_output=True)
        subprocess.run(["bash", HERE / "same.sh", one, out], check=True)
        subprocess.run([sys.executable, HERE / "count.py", out], check=True)
    print(f"Dask with a killed shard: the bytes of one run; {time.monotonic() - begun:.0f} s from the start")


if __name__ == "__main__":
    main(str(Path(sys.argv[1]).resolve()))
