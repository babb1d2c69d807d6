"""How long the page takes from a moved mark to new sizes on the screen: ``python -m tests.page_latency``.

Three 12-megapixel photos of the sample survey with their given marks, in a real browser, and pauses between the moves
from too short for the full solution to begin to long enough for it to be under way. Wall-clock times, so run it on a
machine that is doing nothing else; the load of the machine is printed beside them.
"""

from __future__ import annotations

import os
import random
import shutil
import tempfile
from pathlib import Path

import numpy as np

from tests.page_person import chromium, open_page, sample_copy, serving
from tests.page_pictures import SAMPLE

MOVES = 60
PAUSE_MS = (100.0, 1200.0)
NUDGE = """() => new Promise(done => {
  const root = document.documentElement;
  const before = root.dataset.live;
  const began = performance.now();
  const watch = new MutationObserver(() => {
    if (root.dataset.live === before) return;
    watch.disconnect();
    requestAnimationFrame(() => done(performance.now() - began));
  });
  watch.observe(root, { attributes: true });
  document.querySelector('#bench').dispatchEvent(new KeyboardEvent('keydown', { key: 'ArrowRight', bubbles: true }));
})"""


def latencies_ms(browser_path: str, folder: Path, *, moves: int = MOVES) -> list[float]:
    """Return the times from key press to redrawn sizes, milliseconds."""
    with serving(folder) as server, chromium(browser_path) as browser:
        page = open_page(browser, server.address, complaints=[])
        page.wait_for_selector("html[data-found='all']", timeout=90_000)
        page.wait_for_timeout(5000)
        page.locator("#bench").focus()
        page.keyboard.press("n")
        times = []
        pauses = random.Random(1)
        for _ in range(moves):
            times.append(float(page.evaluate(NUDGE)))
            page.wait_for_timeout(pauses.uniform(*PAUSE_MS))
        return times


def main() -> None:
    """Print the median, the 95th percentile and the largest."""
    path = next(p for p in map(shutil.which, ("chromium", "chromium-browser", "google-chrome", "chrome")) if p)
    with tempfile.TemporaryDirectory() as spare:
        photos = ["IMG_0101.jpg", "IMG_0102.jpg", "IMG_0103.jpg", "survey.json"]
        folder = sample_copy(SAMPLE, Path(spare) / "survey", photos=photos)
        times = latencies_ms(path, folder)
    middle, most = np.percentile(times, [50, 95])
    print(f"{len(times)} moves: median {middle:.0f} ms, 95th percentile {most:.0f} ms, largest {max(times):.0f} ms")
    print(f"load of the machine {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")


if __name__ == "__main__":
    main()
