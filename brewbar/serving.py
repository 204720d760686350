"""What `serve` and `demo` share: the static files, and handing over to the server."""

import hashlib
import os
import sys
from pathlib import Path
from typing import NoReturn

import django
from django.conf import settings
from django.contrib.staticfiles.finders import get_finders
from django.core.management import call_command

from brewbar import bootstrap
from brewbar.keeping import disk

# What packages ship beside the files that pages ask for.
NOT_SERVED = ["rest_framework", "datasets", "templates", "widgetbundle.js", "*.ttf", "LICENSE.txt", "README*"]
THREADS = 8


def collect_static() -> bool:
    """Bring the static files into the data folder if any has changed. Whether it did is returned."""
    root = Path(settings.STATIC_ROOT)
    stamp = root.with_name("static.stamp")
    print_now = _static_print()
    if stamp.is_file() and stamp.read_text("ascii") == print_now and root.is_dir():
        return False
    stamp.unlink(missing_ok=True)
    call_command("collectstatic", interactive=False, clear=True, verbosity=0, ignore_patterns=NOT_SERVED)
    stamp.write_text(print_now, "ascii")
    return True


def _static_print() -> str:
    """Changes when a file is added, taken away or written anew."""
    digest = hashlib.sha256(f"{django.__version__} {settings.STORAGES} {NOT_SERVED}".encode())
    for finder in get_finders():
        for path, storage in finder.list(NOT_SERVED):
            state = Path(storage.path(path)).stat()
            digest.update(f"{path} {state.st_size} {state.st_mtime_ns}\n".encode())
    return digest.hexdigest()


def listen(host: str, port: int) -> NoReturn:
    """Become the server: one process that writes to the database, many threads."""
    disk.in_use(settings.DATA_DIR)
    deployment = settings.DEPLOYMENT
    tls = []
    if deployment.certificate:
        tls = ["--ssl-certificate", str(deployment.certificate), "--ssl-keyfile", str(deployment.key)]
        tls += ["--ssl-protocol-min", "tls1.2"]
    # Below errors it only warns of so many threads on few cores, which were measured and serve best.
    bootstrap.become(
        [
            *(sys.executable, "-m", "granian", "--interface", "wsgi", "--no-ws"),
            *("--host", host, "--port", str(port), "--workers", "1", "--blocking-threads", str(THREADS)),
            *("--respawn-failed-workers", "--workers-kill-timeout", "10", "--log-level", "error"),
            *("--working-dir", str(settings.BASE_DIR), *tls, "brewbar.wsgi:application"),
        ],
        os.environ,
    )
