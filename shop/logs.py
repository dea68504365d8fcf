"""Lines of the log."""

import logging
import re

#: The secret of a customer's link or of a calendar's address: whoever reads a log must not be able to open the page.
SECRET = re.compile(r"/(c|due)/[^/\s?]{20,}")


class Line(logging.Formatter):
    """A line in which the secrets of addresses are left out, wherever they stand: message, arguments or traceback."""

    def format(self, record: logging.LogRecord) -> str:
        return SECRET.sub(r"/\1/…", super().format(record))
