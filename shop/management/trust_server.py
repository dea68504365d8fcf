"""Serves the few files of the trust page over plain HTTP, and nothing else. Standard library only: it runs alone.

python trust_server.py FOLDER PORT
"""

import sys
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

FILES = {
    "/": ("index.html", "text/html; charset=utf-8"),
    "/trust.css": ("trust.css", "text/css; charset=utf-8"),
    "/bareframe.crt": ("bareframe.crt", "application/x-x509-ca-cert"),
}
HEADERS = {
    "Content-Security-Policy": "default-src 'none'; style-src 'self'; base-uri 'none'; frame-ancestors 'none'",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cache-Control": "no-store",
}


class TrustPage(BaseHTTPRequestHandler):
    folder: Path
    timeout = 10
    server_version = "Bareframe"
    sys_version = ""

    def do_GET(self) -> None:
        self._answer(with_body=True)

    def do_HEAD(self) -> None:
        self._answer(with_body=False)

    def _answer(self, *, with_body: bool) -> None:
        if self.path not in FILES:
            self.send_error(404)
            return
        name, kind = FILES[self.path]
        body = (self.folder / name).read_bytes()
        self.send_response(200)
        for header, value in {"Content-Type": kind, "Content-Length": str(len(body)), **HEADERS}.items():
            self.send_header(header, value)
        self.end_headers()
        if with_body:
            self.wfile.write(body)

    def log_message(self, *_arguments: object) -> None:
        """Nobody reads these."""


def main() -> None:
    TrustPage.folder = Path(sys.argv[1])
    ThreadingHTTPServer(("0.0.0.0", int(sys.argv[2])), TrustPage).serve_forever()  # noqa: S104  (the local network is who asks)


if __name__ == "__main__":
    main()
