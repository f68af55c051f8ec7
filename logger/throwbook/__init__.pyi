from throwbook.api import Assessment as Assessment
from throwbook.api import Baseline as Baseline
from throwbook.api import Figures as Figures
from throwbook.api import InputError as InputError
from throwbook.api import LogbookReader as LogbookReader
from throwbook.api import Measured as Measured
from throwbook.api import OutsideError as OutsideError
from throwbook.api import Profile as Profile
from throwbook.api import Rig as Rig
from throwbook.api import Sign as Sign
from throwbook.api import Trace as Trace
from throwbook.api import assess_record as assess_record
from throwbook.api import assess_trace as assess_trace
from throwbook.api import make_baseline as make_baseline
from throwbook.api import open_logbook_readonly as open_logbook_readonly
from throwbook.api import quantity as quantity
from throwbook.api import read_rig as read_rig
from throwbook.api import read_trace as read_trace
from throwbook.api import to_frame as to_frame

__version__: str
OFFERED: tuple[str, ...]
NEEDED: tuple[str, ...]
