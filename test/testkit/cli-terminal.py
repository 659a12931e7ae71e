"""Runs a command with stderr on a pseudo-terminal and prints, as JSON, its exit code, its stdout and what the terminal saw."""
import json
import os
import pty
import subprocess
import sys

ours, theirs = pty.openpty()
process = subprocess.Popen(sys.argv[1:], stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=theirs)
os.close(theirs)
seen = b''
while True:
    try:
        part = os.read(ours, 65536)
    except OSError:  # Linux ends a terminal without a writer by an error
        break
    if not part:
        break
    seen += part
stdout = process.stdout.read()
print(json.dumps({'code': process.wait(), 'stdout': stdout.decode(), 'terminal': seen.decode()}))
