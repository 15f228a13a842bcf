"""Devices that watch a run, as a process of their own: each reads a stream of the page and does nothing else.

`python -m tests.bench.page_devices PORT PATH COOKIE COUNT` prints a line once all streams are open, and ends when its
standard input does; then it prints how many events each stream has brought.
"""

import http.client
import sys
import threading
from collections import Counter


def watch(port: int, path: str, cookie: str, opened: threading.Barrier, received: Counter[int]) -> None:
    """Open a stream, read it for ever, and count its events."""
    connection = http.client.HTTPConnection("127.0.0.1", port)
    connection.request("GET", path, headers={"Cookie": cookie, "Accept": "text/event-stream"})
    answer = connection.getresponse()
    assert answer.status == 200, answer.status
    opened.wait()
    while line := answer.readline():
        received[threading.get_ident()] += line.startswith(b"event: ") and b"beat" not in line


def main() -> None:
    """Watch until the standard input ends."""
    port, path, cookie, count = int(sys.argv[1]), sys.argv[2], sys.argv[3], int(sys.argv[4])
    opened, received = threading.Barrier(count + 1), Counter[int]()
    for _ in range(count):
        threading.Thread(target=watch, args=(port, path, cookie, opened, received), daemon=True).start()
    opened.wait(30)
    print("watching", flush=True)
    sys.stdin.read()
    print(*received.values(), flush=True)


if __name__ == "__main__":
    main()
