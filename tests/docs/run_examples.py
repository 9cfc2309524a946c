#!/usr/bin/env python3
"""Runs the examples of the documentation, as a reader would type them.

Usage: run_examples.py SOURCE_FOLDER BUILD_FOLDER

Every block fenced as ```sh in README.md and docs/*.md is run by a shell, in the order of the page, in
a folder of its own that holds one simulated hour of the demo's site: roundel.toml,
scenario.toml, roundel.db and feeds/. A block fenced as ```sh no-run needs what a test has not (a
receiver, another machine); its programs and options must exist all the same. Links to files must
lead somewhere, and --json must print what the API's description says.
"""
import json
import os
import pathlib
import re
import shutil
import subprocess
import sys
import tempfile

import jsonschema

source, build = (pathlib.Path(a).resolve() for a in sys.argv[1:3])
programs = {"roundel": build / "analysis/program/roundel", "roundeld": build / "daemon/program/roundeld"}
pages = [source / "README.md", *sorted((source / "docs").glob("*.md"))]
failures = []


def fail(page, what):
    failures.append(f"{page.relative_to(source)}: {what}")


def run(line, folder):
    env = dict(os.environ, PATH=f"{folder}/bin:{os.environ['PATH']}", LC_ALL="C.UTF-8")
    return subprocess.run(["sh", "-e", "-c", line], cwd=folder, env=env, stdin=subprocess.DEVNULL,
                          capture_output=True, text=True, timeout=120)


def prepare(folder):
    (folder / "bin").mkdir()
    for name, program in programs.items():
        (folder / "bin" / name).symlink_to(program)
    for name in ("scenario.toml", "roundel.toml"):
        shutil.copy(source / "analysis/simulate/demo" / name, folder)
    made = run("""roundel simulate scenario.toml --hours 1 --out-dir feeds
for feed in roof-a roof-b; do roundeld load --config roundel.toml --feed $feed feeds/$feed.ndjson; done""",
               folder)
    if made.returncode:
        sys.exit(f"cannot make the demo's data: {made.stderr}")


def check_words(page, block, helps):
    """Programs, commands and options of a block that is not run."""
    for line in block.splitlines():
        words = line.split("#")[0].split()
        if not words or words[0] not in programs:
            continue
        text = helps(words[0], [w for w in words[1:2] if not w.startswith("-")])
        for option in re.findall(r"--[a-z][a-z-]+", line):
            if option not in text:
                fail(page, f"no option {option}: {line}")


def check_links(page, text):
    for target in re.findall(r"\]\(([^)#:]+)(?:#[^)]*)?\)", text):
        if not (page.parent / target).exists():
            fail(page, f"link to nowhere: {target}")


def check_json(folder):
    """What --json prints, against the API's schemas, by another validator (JSON Schema 2020-12)."""
    description = json.loads((source / "daemon/serve/openapi.json").read_text(encoding="utf-8"))
    for command, name in (("reach roundel.db", "Reach"),
                          ("verdict roundel.db --antenna spider", "Verdict"),
                          ("status roundel.db", "Status"),
                          ("trial roundel.db list", "Trials")):
        schema = {"$ref": f"#/components/schemas/{name}", "components": description["components"]}
        answer = json.loads(run(f"roundel {command} --json", folder).stdout)
        for error in jsonschema.Draft202012Validator(schema).iter_errors(answer):
            failures.append(f"roundel {command} --json: {error.json_path}: {error.message}")


with tempfile.TemporaryDirectory(prefix="roundel-docs-") as scratch:
    fresh = pathlib.Path(scratch) / "fresh"
    fresh.mkdir()
    prepare(fresh)
    check_json(fresh)
    n_run = 0
    for page in pages:
        text = page.read_text(encoding="utf-8")
        check_links(page, text)
        folder = pathlib.Path(scratch) / page.stem
        shutil.copytree(fresh, folder, symlinks=True)
        for info, block in re.findall(r"^```sh([^\n]*)\n(.*?)^```", text, re.M | re.S):
            if info.strip() == "no-run":
                check_words(page, block,
                            lambda p, c: run(" ".join([p, *c, "--help"]), folder).stdout)
                continue
            done = run(block, folder)
            n_run += 1
            if done.returncode:
                fail(page, f"exit code {done.returncode} of:\n{block}{done.stderr}")
print(f"{n_run} examples run")
for failure in failures:
    print(failure, file=sys.stderr)
sys.exit(1 if failures or n_run < 10 else 0)
