"""Runs a command with stderr on a pseudo-terminal and prints, as JSON, its exit code, its stdout and what the terminal saw."""
import json
import os
import pty
import subprocess
import sys
import threading

ours, theirs = pty.openpty()
process = subprocess.Popen(sys.argv[1:], stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=theirs)
os.close(theirs)
printed = []
# Read beside the terminal: a pipe holds no more than 64 KB, and a command that waits for it would never end its terminal.
reader = threading.Thread(target=lambda: printed.append(process.stdout.read()))
reader.start()
seen = b''
while True:
    try:
        part = os.read(ours, 65536)
    except OSError:  # Linux ends a terminal without a writer by an error
        break
    if not part:
        break
    seen += part
reader.join()
print(json.dumps({'code': process.wait(), 'stdout': printed[0].decode(), 'terminal': seen.decode()}))
