"""Lines of the log."""

import logging
import re

#: The secret of a customer's link: whoever reads a log must not be able to open the page.
SECRET = re.compile(r"/c/[^/\s?]{20,}")


class Line(logging.Formatter):
    """A line in which the secrets of links are left out, wherever they stand: message, arguments or traceback."""

    def format(self, record: logging.LogRecord) -> str:
        return SECRET.sub("/c/…", super().format(record))
