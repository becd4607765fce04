#!/usr/bin/env python3
"""How long the Rust functions and files here are.

ruler.py [DIR ...]          lengths of files and functions (median, 90th, 99th, longest), tests left out
ruler.py --max N [DIR ...]  names every function longer than N lines, tests among them; exit 1 if there is one

Strings, characters and comments are blanked, and bodies matched by their braces: near enough for a ruler.
"""

import argparse
import os
import re
import sys

RAW = re.compile(r'b?r(#*)"')
CHARACTER = re.compile(r"b?'(\\[^']+|[^'\\])'")
FUNCTION = re.compile(r"\bfn\s+(\w+)")
TEST_MODULE = re.compile(r"#\[cfg\(test\)\]\s*(pub\s+)?mod\s+\w+\s*\{")
SKIPPED = {"target", ".git", "node_modules"}


def spaces(text):
    return re.sub(r"[^\n]", " ", text)


def end_of_comment(source, at):
    depth, at = 1, at + 2
    while at < len(source) and depth:
        depth += source.startswith("/*", at) - source.startswith("*/", at)
        at += 2 if source[at:at + 2] in ("/*", "*/") else 1
    return at


def end_of_string(source, at):
    at += 1
    while at < len(source) and source[at] != '"':
        at += 2 if source[at] == "\\" else 1
    return at + 1


def pieces(source):
    """The source cut into (what, text), what being code, comment or string."""
    at = start = 0
    while at < len(source):
        what = "string"
        if source.startswith("//", at):
            what, end = "comment", source.find("\n", at)
            end = len(source) if end < 0 else end
        elif source.startswith("/*", at):
            what, end = "comment", end_of_comment(source, at)
        elif raw := RAW.match(source, at):
            close = '"' + raw.group(1)
            end = source.find(close, raw.end())
            end = len(source) if end < 0 else end + len(close)
        elif source[at] == '"':
            end = end_of_string(source, at)
        elif character := CHARACTER.match(source, at):
            end = character.end()
        else:
            at += 1
            continue
        yield "code", source[start:at]
        yield what, source[at:end]
        at = start = end
    yield "code", source[start:]


def keep(source, *kinds):
    """The source with all but these kinds blanked; lines keep their numbers."""
    return "".join(text if what in kinds else spaces(text) for what, text in pieces(source))


def end_of_body(code, at):
    depth = 0
    for here in range(at, len(code)):
        depth += (code[here] == "{") - (code[here] == "}")
        if depth == 0:
            return here
    return len(code) - 1


def start_of_body(code, at):
    """Where the signature's `{` stands; none, if the function is only declared."""
    depth = 0
    for here in range(at, len(code)):
        depth += (code[here] in "([") - (code[here] in ")]")
        if depth == 0 and code[here] in "{;":
            return here if code[here] == "{" else None
    return None


def functions(code):
    """(first line, name, lines) of each function with a body."""
    for found in FUNCTION.finditer(code):
        start = start_of_body(code, found.end())
        if start is not None:
            lines = code.count("\n", found.start(), end_of_body(code, start)) + 1
            yield code.count("\n", 0, found.start()) + 1, found.group(1), lines


def without_tests(code):
    while found := TEST_MODULE.search(code):
        end = end_of_body(code, found.end() - 1) + 1
        code = code[:found.start()] + spaces(code[found.start():end]) + code[end:]
    return code


def is_test_file(path):
    return path.endswith("tests.rs") or "/tests/" in path or "/benches/" in path


def rust_files(roots):
    for root in roots:
        for folder, folders, names in os.walk(root):
            folders[:] = sorted(name for name in folders if name not in SKIPPED)
            yield from (os.path.join(folder, name) for name in sorted(names) if name.endswith(".rs"))


def read(path):
    with open(path, encoding="utf-8") as file:
        return file.read()


def too_long(paths, most):
    for path in paths:
        for line, name, lines in functions(keep(read(path), "code")):
            if lines > most:
                yield f"{path}:{line}: `{name}` has {lines} lines; {most} is the most: split it where its story turns"


def share(numbers, part):
    return sorted(numbers)[min(len(numbers) - 1, int(part * len(numbers)))] if numbers else 0


def line_of(what, numbers):
    parts = f"median {share(numbers, .5)}, 9 of 10 {share(numbers, .9)}, 99 of 100 {share(numbers, .99)}"
    return f"{what} {len(numbers)}: lines {parts}, longest {max(numbers, default=0)}, all {sum(numbers)}"


def measure(paths):
    files, bodies = [], []
    for path in paths:
        if not is_test_file(path):
            code = without_tests(keep(read(path), "code"))
            files.append((sum(1 for line in code.split("\n") if line.strip()), path))
            bodies += [(lines, f"{path}: {name}") for _, name, lines in functions(code)]
    for what, found in (("files", files), ("functions", bodies)):
        print(line_of(what, [lines for lines, _ in found]))
        for lines, where in sorted(found, reverse=True)[:6]:
            print(f"  {lines:5}  {where}")


def main():
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--max", type=int, metavar="N")
    asked.add_argument("folders", nargs="*", default=["."], metavar="DIR")
    asked = asked.parse_args()
    if asked.max is None:
        measure(rust_files(asked.folders))
        return 0
    found = list(too_long(rust_files(asked.folders), asked.max))
    print(*found, sep="\n", end="\n" if found else "")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
