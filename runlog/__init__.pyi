from runlog.api import Book as Book
from runlog.api import open as open
from runlog.errors import NotFound as NotFound
from runlog.errors import RunlogError as RunlogError
from runlog.errors import UsageError as UsageError

__version__: str
