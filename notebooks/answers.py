"""What the notebooks share: calling sealbound, and showing what it answers.

The notebooks compute little themselves. They call the sealbound command, read
its JSON or CSV, and draw. `sealbound` is taken from $SEALBOUND or from PATH.
Commands run in a temporary folder, in which testdata leads to the project's
own, so that each command is shown as it would be typed in the project's folder.
"""

import atexit
import csv
import html
import json
import os
import re
import shutil
import subprocess
import tempfile
from pathlib import Path

import matplotlib.pyplot as plt
import pandas as pd
from IPython.display import Markdown, display
from matplotlib_inline.backend_inline import set_matplotlib_formats

# Of the eight colours of Okabe and Ito (2008), which can be told apart with any common
# colour vision, those used here, and a grey.
BLUE, ORANGE, GREEN, RED, GREY = (
    "#0072B2", "#E69F00", "#009E73", "#D55E00", "#666666")

plt.rcParams.update({
    "figure.figsize": (8, 3.6), "figure.dpi": 110, "font.size": 11,
    "axes.spines.top": False, "axes.spines.right": False, "axes.titlesize": 11,
    "axes.titlelocation": "left", "axes.grid": True, "grid.color": "#dddddd",
    "grid.linewidth": 0.7, "axes.axisbelow": True, "legend.frameon": False,
    "legend.fontsize": 10, "figure.constrained_layout.use": True})
set_matplotlib_formats("png", metadata={"Software": None})  # equal figures, equal bytes

HERE = Path(__file__).resolve().parent
WORK = Path(tempfile.mkdtemp(prefix="sealbound-notebook-"))
atexit.register(shutil.rmtree, WORK, ignore_errors=True)
(WORK / "testdata").symlink_to(HERE.parent / "testdata")


def _binary():
    found = os.environ.get("SEALBOUND") or shutil.which("sealbound")
    if not found:
        raise SystemExit("no sealbound: go build -o FOLDER/sealbound ./cmd/sealbound, then set SEALBOUND to it")
    return str(Path(found).resolve())


def _words(args):
    return [str(a) for a in args]


def run(*args, status=0):
    """Run sealbound and return its standard output; another exit status is an error."""
    done = subprocess.run([_binary(), *_words(args)], cwd=WORK, capture_output=True, text=True)
    if done.returncode != status:
        raise RuntimeError(f"sealbound {' '.join(_words(args))}: exit status {done.returncode}\n{done.stderr}")
    return done.stdout


def ask(*args):
    """Run sealbound and return its answer, read from JSON."""
    return json.loads(run(*args, "--format", "json"))


def result(*args):
    """The only result of an answer; an error where there are several or none."""
    (one,) = ask(*args)["results"]
    return one


def show(*args, until=None):
    """Print a command and its answer as the terminal would, up to the line that begins with `until`."""
    words = [f"'{w}'" if " " in w else w for w in _words(args)]
    lines = ["$ sealbound " + " ".join(words)]
    for line in run(*args).splitlines():
        if until and line.startswith(until):
            lines.append("...")
            break
        lines.append(line)
    print("\n".join(lines))


def campaign(name, seed, **flags):
    """Write a made-up campaign into the folder `name` and return what the simulation put in.

    Flags are those of `sealbound simulate` with _ for -: boxes=4, session_sd=1.2.
    """
    words = []
    for flag, value in flags.items():
        flag = "--" + flag.replace("_", "-")
        words.append(f"{flag}={str(value).lower()}" if isinstance(value, bool) else f"{flag}={value}")
    shutil.rmtree(WORK / name, ignore_errors=True)
    run("simulate", *words, f"--seed={seed}", "-o", name)
    return json.loads((WORK / name / "truth.json").read_text())


def rename(folder, names):
    """Give boxes and gaskets of a made-up campaign other names, in every table of its folder."""
    def other(cell):
        for old, new in names.items():
            if cell == old or cell.endswith("-" + old):  # runs end with their box
                return cell.removesuffix(old) + new
        return cell
    for file in sorted((WORK / folder).glob("*.csv")):
        with file.open(newline="") as f:
            rows = [[other(cell) for cell in row] for row in csv.reader(f)]
        with file.open("w", newline="") as f:
            csv.writer(f, lineterminator="\n").writerows(rows)


def readings(folder):
    """All readings of a folder as one table, a row each."""
    side = {"boxes.csv", "gaskets.csv", "events.csv", "setup.csv"}
    files = [f for f in sorted((WORK / folder).glob("*.csv")) if f.name not in side]
    return pd.concat([pd.read_csv(f, dtype={"closing": str, "fitting": str}) for f in files], ignore_index=True)


def attenuations(folder, margin_db=6):
    """Pair open and closed readings: a row per closing and point, attenuation in dB.

    Open less closed, of the same run and point; open and floor readings that were
    repeated are averaged. `limited` tells those less than margin_db above the floor:
    their attenuation is at least the figure. A run of which the open readings moved
    by more than 3 dB is left out, as sealbound does.
    """
    r = readings(folder)
    if "freq_hz" not in r:
        r["freq_hz"] = (r["freq_mhz"] * 1e6).round()
    point = ["run", "freq_hz"] + [c for c in ("position", "polarization") if c in r]
    r["db"] = r["level_dbm"] - (r["gain_db"].fillna(0) if "gain_db" in r else 0)
    opened = r[r["state"] == "open"].groupby(point)["db"].agg(["mean", "min", "max"])
    drift = (opened["max"] - opened["min"]).groupby("run").max()
    closed = r[r["state"] == "closed"].join(opened["mean"].rename("open_db"), on=point)
    floor = r[r["state"] == "floor"]
    if len(floor):
        closed = closed.join(floor.groupby(point)["level_dbm"].mean().rename("floor_dbm"), on=point)
        closed["limited"] = closed["level_dbm"] - closed["floor_dbm"] < margin_db
        level = closed[["level_dbm", "floor_dbm"]].max(axis=1)
    else:
        closed["limited"], level = False, closed["level_dbm"]
    closed["atten_db"] = closed["open_db"] - (level - closed["level_dbm"] + closed["db"])
    return closed[closed["run"].map(drift) <= 3].reset_index(drop=True)


def band_values(folder, lo_mhz, hi_mhz):
    """One figure per closing: the plain mean over the points of a band, dB (no point may be missing)."""
    a = attenuations(folder)
    a = a[(a["freq_hz"] > lo_mhz * 1e6) & (a["freq_hz"] <= hi_mhz * 1e6)]
    by = ["box", "gasket", "date", "run", "closing"]
    out = a.groupby(by).agg(db=("atten_db", "mean"), points=("atten_db", "size"), limited=("limited", "sum"))
    return out.reset_index()


def say(text):
    """Show Markdown: for sentences whose figures come from the answers above."""
    display(Markdown(text))


class table:
    """A table to show: heads and rows of text and numbers; numbers to the right."""

    def __init__(self, heads, rows):
        self.heads = list(heads)
        self.rows = [["–" if c is None else c for c in row] for row in rows]

    def _right(self, i):
        return all(re.fullmatch(r"[<>≥≤+−]?[\d.,]+( %)?|–|", str(row[i])) for row in self.rows)

    def _repr_html_(self):
        def line(cells, tag):
            sides = ("right" if self._right(i) else "left" for i in range(len(self.heads)))
            return "<tr>" + "".join(f'<{tag} style="text-align:{s}">{html.escape(str(c))}</{tag}>'
                                    for s, c in zip(sides, cells)) + "</tr>"
        body = "\n".join(line(row, "td") for row in self.rows)
        return f"<table>\n<thead>{line(self.heads, 'th')}</thead>\n<tbody>\n{body}\n</tbody>\n</table>"

    def __repr__(self):
        cells = [self.heads] + [[str(c) for c in row] for row in self.rows]
        wide = [max(len(row[i]) for row in cells) for i in range(len(self.heads))]
        return "\n".join("  ".join(c.rjust(w) if self._right(i) else c.ljust(w)
                                   for i, (c, w) in enumerate(zip(row, wide))).rstrip() for row in cells)


def db(value, digits=1, plus=False):
    """A number as text; a dash where it is not defined."""
    if value is None or value != value:
        return "–"
    return f"{value:{'+' if plus else ''}.{digits}f}".replace("-", "−")
