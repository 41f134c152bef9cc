from gougeform.errors import InputError as InputError
from gougeform.gouge import shape as shape
from gougeform.measures import measure as measure
from gougeform.recipe import Recipe as Recipe
from gougeform.recipe import changed as changed
from gougeform.recipe import from_table as from_table
from gougeform.recipe import load as load
from gougeform.recipe import to_toml as to_toml
from gougeform.study.front import edge_frame as edge_frame
from gougeform.study.front import measured as measured
from gougeform.study.front import run_study as run_study
from gougeform.study.front import sweep as sweep

__version__: str
