"""How quick pages stay while a model of two million facets is measured and looked into.

Asks for a page again and again, one after the other as a person would: at rest, while a file of
two million facets is sent and measured, and while its analyses run. Prints the median and the
95th percentile of each, and their ratio to rest, all of one run.

Run: cargo build --release; start `pourday demo --data FOLDER --listen 127.0.0.1:PORT --password WORDS`
     and wait until its own jobs are done (the page of the newest design says so), then
     python3 pages_beside_analysis.py http://127.0.0.1:PORT maren WORDS
Needs NumPy for making the file.
"""

import http.cookiejar
import re
import sys
import threading
import time
import urllib.parse
import urllib.request
import uuid

import numpy as np

PAGES = ["/", "/pieces", "/designs"]
SECONDS = 25


def torus(around=2000, tube=500):
    u, v = np.meshgrid(np.arange(around + 1) % around * 2 * np.pi / around, np.arange(tube + 1) % tube * 2 * np.pi / tube, indexing="ij")
    out = 11 + 1.5 * np.cos(v) + 0.08 * np.sin(40 * u)
    points = np.stack([out * np.cos(u), out * np.sin(u), 1.5 * np.sin(v)], axis=-1).astype("<f4")
    a, b, c, d = points[:-1, :-1], points[1:, :-1], points[1:, 1:], points[:-1, 1:]
    corners = np.concatenate([np.stack([a, b, c], axis=-2).reshape(-1, 9), np.stack([a, c, d], axis=-2).reshape(-1, 9)])
    facets = np.zeros(len(corners), dtype=[("normal", "<f4", 3), ("corners", "<f4", 9), ("pad", "<u2")])
    facets["corners"] = corners
    return b"torus".ljust(80) + np.uint32(len(facets)).tobytes() + facets.tobytes()


class Person:
    def __init__(self, base, login, password):
        self.base = base
        self.open = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(http.cookiejar.CookieJar())).open
        self.post("/sign-in", urllib.parse.urlencode({"login": login, "password": password}).encode(), "application/x-www-form-urlencoded")

    def get(self, path):
        return self.open(self.base + path).read().decode()

    def post(self, path, body, kind):
        request = urllib.request.Request(self.base + path, body, {"Content-Type": kind, "Origin": self.base})
        return self.open(request)

    def drop(self, name, content):
        edge = uuid.uuid4().hex
        body = (f'--{edge}\r\nContent-Disposition: form-data; name="once"\r\n\r\n{uuid.uuid4()}\r\n'
                f'--{edge}\r\nContent-Disposition: form-data; name="models"; filename="{name}"\r\n'
                "Content-Type: application/octet-stream\r\n\r\n").encode() + content + f"\r\n--{edge}--\r\n".encode()
        return self.post("/designs/new", body, f"multipart/form-data; boundary={edge}").geturl()


def ask(person, until):
    times, begun, n = [], time.perf_counter(), 0
    while not until(time.perf_counter() - begun):
        started = time.perf_counter()
        person.get(PAGES[n % len(PAGES)])
        times.append(time.perf_counter() - started)
        n += 1
    return np.array(times) * 1000


def main():
    base, login, password = sys.argv[1:4]
    visitor, sender = Person(base, login, password), Person(base, login, password)
    for path in PAGES * 5:
        visitor.get(path)
    rest = ask(visitor, lambda gone: gone > SECONDS)
    content, place = torus(), []
    sending = threading.Thread(target=lambda: place.append(sender.drop("two million facets.stl", content)))
    sending.start()
    sent = ask(visitor, lambda gone: not sending.is_alive())
    working = ask(visitor, lambda gone: gone > SECONDS)
    page = sender.get(urllib.parse.urlparse(place[0]).path)
    if "Being worked out" not in page and not re.search("Will it cast", page):
        sys.exit("the model is not being looked into")
    for what, times in (("at rest", rest), ("while it is sent and measured", sent), ("while it is looked into", working)):
        print(f"{what}: {len(times)} pages, median {np.median(times):.1f} ms, p95 {np.percentile(times, 95):.1f} ms, "
              f"p95 ratio {np.percentile(times, 95) / np.percentile(rest, 95):.2f}")


if __name__ == "__main__":
    main()
