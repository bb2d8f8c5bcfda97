"""From a dropped file of a million facets to its quote on the screen, in a browser.

Opens a new order, drops a binary STL of a million facets on it, presses the button, goes on to
the order's price and waits until amounts stand there. Prints the seconds of each way and of both,
from pressing to seeing, several times; each file differs in a number, so nothing is known before.

Run: cargo build --release; start `pourday demo --data FOLDER --listen 127.0.0.1:PORT --password WORDS`
     python3 drop_to_quote.py http://127.0.0.1:PORT maren WORDS [CHROMIUM]
Needs NumPy for making the files and playwright 1.5 for the browser.
"""

import pathlib
import re
import sys
import tempfile
import time

import numpy as np
from playwright.sync_api import sync_playwright

TURNS = 5


def torus(radius, around=1000, tube=500):
    u, v = np.meshgrid(np.arange(around + 1) % around * 2 * np.pi / around, np.arange(tube + 1) % tube * 2 * np.pi / tube, indexing="ij")
    out = radius + 1.5 * np.cos(v) + 0.08 * np.sin(40 * u)
    points = np.stack([out * np.cos(u), out * np.sin(u), 1.5 * np.sin(v)], axis=-1).astype("<f4")
    a, b, c, d = points[:-1, :-1], points[1:, :-1], points[1:, 1:], points[:-1, 1:]
    corners = np.concatenate([np.stack([a, b, c], axis=-2).reshape(-1, 9), np.stack([a, c, d], axis=-2).reshape(-1, 9)])
    facets = np.zeros(len(corners), dtype=[("normal", "<f4", 3), ("corners", "<f4", 9), ("pad", "<u2")])
    facets["corners"] = corners
    return b"torus".ljust(80) + np.uint32(len(facets)).tobytes() + facets.tobytes()


def main():
    base, login, password = sys.argv[1:4]
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as tool:
        browser = tool.chromium.launch(executable_path=sys.argv[4] if len(sys.argv) > 4 else None, args=["--no-sandbox"])
        page = browser.new_page()
        page.goto(f"{base}/sign-in")
        page.fill("input[name=login]", login)
        page.fill("input[name=password]", password)
        page.click("main button")
        times = []
        for turn in range(TURNS):
            file = pathlib.Path(folder, f"band {turn}.stl")
            file.write_bytes(torus(9 + 0.1 * turn + time.time() % 1 * 1e-2))
            page.goto(f"{base}/orders/new")
            page.fill("[name=title]", f"A band of a million facets, {turn}")
            page.fill("[name=new_client]", f"Tester {time.time():.0f} {turn}")
            page.select_option("[name=alloy]", index=1)
            page.set_input_files("[name=models]", str(file))
            started = time.perf_counter()
            page.click("button:has-text('Open the order')")
            page.wait_for_url(re.compile(r"/orders/\d+$"))
            opened = time.perf_counter()
            page.goto(page.url + "/price")
            page.wait_for_selector("#priced .sums")
            seen = time.perf_counter()
            times.append((opened - started, seen - opened, seen - started))
            print(f"{turn}: order {times[-1][0]:.2f} s, quote {times[-1][1]:.2f} s, both {times[-1][2]:.2f} s", flush=True)
        both = sorted(t[2] for t in times)
        print(f"both: quickest {both[0]:.2f} s, median {both[len(both) // 2]:.2f} s, slowest {both[-1]:.2f} s")
        browser.close()


if __name__ == "__main__":
    main()
