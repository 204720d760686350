#!/usr/bin/env python3
"""The way in: `python3 manage.py demo`, `test`, `serve`, or any Django command.

On a bare machine it first builds .venv from the pinned requirements, then runs itself again inside it.
"""

import os
import sys


def main():
    # No annotation and no newer syntax in this file: an old Python must get as far as this sentence.
    if not (3, 11) <= sys.version_info[:2] <= (3, 13):
        sys.exit(
            "brewbar runs on Python 3.11, 3.12 or 3.13, and this is Python %d.%d: run it with one of them, "
            "for example `python3.13 %s`." % (sys.version_info[0], sys.version_info[1], " ".join(sys.argv))
        )
    from brewbar.refusal import Refusal

    try:
        run(sys.argv)
    except Refusal as refusal:
        sys.exit(str(refusal))
    except KeyboardInterrupt:
        sys.exit("\nStopped. Run the same command to take it up again.")


def run(argv):
    from brewbar import address, bootstrap

    command = argv[1] if len(argv) > 1 else "help"
    if command in ("demo", "serve"):
        address.refuse_unless_free(*address.read(argv[2:]))
    bootstrap.enter(argv)
    if command == "test":
        from brewbar import testing

        sys.exit(testing.main(argv[2:]))
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "brewbar.settings")
    # Settings are read before any command runs, so what these two mean is told here.
    if command == "demo":
        host, port = address.read(argv[2:])
        os.environ["BREWBAR_DEMO"] = "1"
        os.environ["BREWBAR_URL"] = "http://%s:%d" % (address.reachable(host), port)
    if command in ("demo", "serve"):
        os.environ["BREWBAR_SERVING"] = "1"
    from django.core.management import execute_from_command_line

    execute_from_command_line(argv)


if __name__ == "__main__":
    main()
