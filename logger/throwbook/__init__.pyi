from throwbook.api import LogbookReader as LogbookReader
from throwbook.api import assess_trace as assess_trace
from throwbook.api import make_baseline as make_baseline
from throwbook.api import open_logbook_readonly as open_logbook_readonly
from throwbook.api import read_rig as read_rig
from throwbook.api import read_trace as read_trace
from throwbook.api import to_frame as to_frame

__version__: str
OFFERED: tuple[str, ...]
