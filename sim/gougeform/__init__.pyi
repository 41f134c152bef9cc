from gougeform.errors import InputError as InputError
from gougeform.grind.gouge import shape as shape
from gougeform.measure.measures import measure as measure
from gougeform.study.front import edge_frame as edge_frame
from gougeform.study.front import measured as measured
from gougeform.study.front import run_study as run_study
from gougeform.study.front import sweep as sweep

__version__: str
