from logger.api import LogbookReader as LogbookReader
from logger.api import assess_trace as assess_trace
from logger.api import make_baseline as make_baseline
from logger.api import open_logbook_readonly as open_logbook_readonly
from logger.api import read_rig as read_rig
from logger.api import read_trace as read_trace
from logger.api import to_frame as to_frame

__version__: str
OFFERED: tuple[str, ...]
