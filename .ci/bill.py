"""What an installation brings along, and under which licences: .ci/bill.py NAME FILE, in the environment it is installed in.

Writes a bill of materials as CycloneDX 1.6 (ECMA-424) and prints one line a package; exit code 1 where a licence is none of those
below, all of which let anybody use, change and pass on the program with their notices kept. Extras are not in it,
installed or not. Same installation, same bytes.
"""

import json
import os
import re
import sys
from datetime import UTC, datetime
from importlib.metadata import PackageNotFoundError, distribution
from pathlib import Path

KNOWN = {
    "MIT",
    "MIT-0",
    "MIT-CMU",
    "HPND",
    "BSD-2-Clause",
    "BSD-3-Clause",
    "0BSD",
    "ISC",
    "Apache-2.0",
    "PSF-2.0",
    "Python-2.0",
    "Zlib",
    "CC0-1.0",
    "Unlicense",
}
# What packages write where they give no SPDX expression.
CLASSIFIED = {
    "MIT License": "MIT",
    "BSD License": "BSD-3-Clause",
    "Apache Software License": "Apache-2.0",
    "Python Software Foundation License": "PSF-2.0",
    "ISC License (ISCL)": "ISC",
    "Historical Permission Notice and Disclaimer (HPND)": "HPND",
    "zlib/libpng License": "Zlib",
}
# Files of other projects inside a wheel, by what their paths hold: linked at run time, and replaceable there.
CARRIED = {"libsndfile": ("libsndfile", "LGPL-2.1-or-later"), "libportaudio": ("portaudio", "MIT")}


def packages(name):
    """That one and all it requires, by name, in order."""
    found, left = {}, [name]
    while left:
        one = plain(left.pop())
        if one in found:
            continue
        try:
            found[one] = distribution(one)
        except PackageNotFoundError:
            continue  # for another system or Python
        left += required(found[one])
    return dict(sorted(found.items()))


def required(package):
    """Names of what a package cannot do without; `extra` marks what it can."""
    return [re.match(r"[\w.-]+", each)[0] for each in package.requires or () if not re.search(r"extra\s*==", each)]


def plain(name):
    """As the packages' names are compared (PEP 503)."""
    return re.sub(r"[-_.]+", "-", name).lower()


def licence(package):
    """SPDX expression of a package; what it says itself where it gives none."""
    told = package.metadata
    if told["License-Expression"]:
        return told["License-Expression"]
    classes = [text.rpartition(" :: ")[2] for text in told.get_all("Classifier") or () if text.startswith("License ::")]
    named = sorted({CLASSIFIED[each] for each in classes if each in CLASSIFIED})
    written = (told["License"] or "").strip()
    return " OR ".join(named) or (written.splitlines() or ["none stated"])[0]


def is_known(expression):
    """Whether every part of it, or one of each alternative, is known."""
    parts = re.split(r"\s+AND\s+", expression)
    return all(any(one.strip(" ()").split(" WITH ")[0] in KNOWN for one in part.split(" OR ")) for part in parts)


def component(name, package):
    written = licence(package)
    licences = [{"expression": written}] if is_known(written) else [{"license": {"name": written}}]
    out = {
        "type": "library",
        "bom-ref": purl(name, package),
        "name": name,
        "version": package.version,
        "licenses": licences,
        "purl": purl(name, package),
    }
    carried = sorted({CARRIED[key] for path in package.files or () for key in CARRIED if key in str(path)})
    if carried:
        out["components"] = [{"type": "library", "name": file, "licenses": [{"license": {"id": spdx}}]} for file, spdx in carried]
    return out


def purl(name, package):
    return f"pkg:pypi/{name}@{package.version}"


def bill(name, found):
    when = datetime.fromtimestamp(int(os.environ.get("SOURCE_DATE_EPOCH", "0")), UTC)
    needs = {one: sorted(set(map(plain, required(package))) & set(found)) for one, package in found.items()}
    return {
        "$schema": "http://cyclonedx.org/schema/bom-1.6.schema.json",
        "bomFormat": "CycloneDX",
        "specVersion": "1.6",
        "version": 1,
        "metadata": {
            "timestamp": when.strftime("%Y-%m-%dT%H:%M:%SZ"),
            "component": component(name, found[name]) | {"type": "application"},
        },
        "components": [component(one, package) for one, package in found.items() if one != name],
        "dependencies": [
            {"ref": purl(one, found[one]), "dependsOn": [purl(each, found[each]) for each in needs[one]]} for one in found
        ],
    }


def main(name, file):
    found = packages(name)
    unknown = [one for one, package in found.items() if not is_known(licence(package))]
    for one, package in found.items():
        print(f"{one:20} {package.version:12} {licence(package)}{'  UNKNOWN' if one in unknown else ''}")
    Path(file).write_text(json.dumps(bill(name, found), indent=1) + "\n", encoding="utf-8")
    return f"licences that nobody has looked at: {', '.join(unknown)}" if unknown else 0


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
