"""Writes reference/ and reference.tsv: made-up networks, and |S21| (|S11| of a
one-port) in dB as scikit-rf reads it. Run with /usr/bin/python3 in this folder;
needs Debian's python3-scikit-rf 0.15.4 and python3-numpy."""
import cmath
import math
import os
import random

import skrf

pick = random.Random(20260504)


def network(ports):
    return [[cmath.rect(10 ** pick.uniform(-5, 0), pick.uniform(-math.pi, math.pi))
             for _ in range(ports)] for _ in range(ports)]


def pair(form, z):
    if form == "RI":
        return f"{z.real:.9e} {z.imag:.9e}"
    angle = math.degrees(cmath.phase(z))
    if form == "MA":
        return f"{abs(z):.9g} {angle:.6f}"
    return f"{20 * math.log10(abs(z)):.6f} {angle:.4f}"


def rows(form, ports, frequencies, per_line):
    for f in frequencies:
        s = network(ports)
        if ports == 2:
            yield f"{f} " + " ".join(pair(form, z) for z in (s[0][0], s[1][0], s[0][1], s[1][1]))
            continue
        for i, row in enumerate(s):
            for j in range(0, ports, per_line):
                start = f"{f} " if i == 0 and j == 0 else "  "
                yield start + " ".join(pair(form, z) for z in row[j:j + per_line])


def write(name, head, form, ports, frequencies, per_line=4, tail=()):
    with open(os.path.join("reference", name), "w", newline="\n") as out:
        for line in [*head, *rows(form, ports, frequencies, per_line), *tail]:
            out.write(line + "\n")


os.makedirs("reference", exist_ok=True)
write("defaults.s1p", ["! unit, parameter, format and resistance by default", "#"], "MA", 1, ["0.03", "0.43392", "3"])
write("noise.s2p", ["# khz S db R 50 ! with noise data"], "DB", 2, ["30000", "100000.5", "3e6"],
      tail=["! noise", "30000 1.2 0.4 30 0.2", "100000 1.4 0.5 31 0.3"])
write("wrapped.s3p", ["# MHz S RI R 75"], "RI", 3, ["30", "433.92", "2400"], per_line=2)
write("four.s4p", ["# Hz S MA R 50"], "MA", 4, ["30000000", "433920000", "2400000000"])
write("four_db.s4p", ["# GHz S DB R 50"], "DB", 4, ["0.03", "0.43392"], per_line=1)
write("version2.ts", ["[Version] 2.0", "# MHz S RI R 50", "[Number of Ports] 3", "[Number of Frequencies] 3",
                      "[Reference] 50 75 50", "[Network Data]"], "RI", 3, ["30", "433.92", "2400"], tail=["[End]"])

with open("reference.tsv", "w", newline="\n") as out:
    out.write("file\tfreq_hz\tdb\n")
    for name in sorted(os.listdir("reference")):
        ts = skrf.io.touchstone.Touchstone(os.path.join("reference", name))
        f, s = ts.get_sparameter_arrays()
        wanted = s[:, 0, 0] if ts.rank == 1 else s[:, 1, 0]
        for hz, z in zip(f, wanted):
            out.write(f"{name}\t{hz:.12g}\t{20 * math.log10(abs(z)):.9f}\n")
