# What projector exports, read when the package is imported: each name is loaded on its first use.
from . import studies as studies
from .faults import Fault as Fault
from .faults import SceneError as SceneError
from .geometry import Pose as Pose
from .rendering.maps.irradiance import irradiance_map as irradiance_map
from .rendering.maps.light_map import IrradianceMap as IrradianceMap
from .rendering.preview import Picture as Picture
from .rendering.preview import preview as preview
from .rendering.session import RenderSession as RenderSession
from .scene.model import Ambient as Ambient
from .scene.model import Blade as Blade
from .scene.model import Camera as Camera
from .scene.model import Dispersion as Dispersion
from .scene.model import Figure as Figure
from .scene.model import Filter as Filter
from .scene.model import Focus as Focus
from .scene.model import Gate as Gate
from .scene.model import Lens as Lens
from .scene.model import Output as Output
from .scene.model import Projector as Projector
from .scene.model import PupilShape as PupilShape
from .scene.model import Reading as Reading
from .scene.model import Scene as Scene
from .scene.model import Source as Source
from .scene.model import Stencil as Stencil
from .scene.model import Surface as Surface
from .scene.reading.lens_files import load_lens as load_lens
from .scene.reading.reader import load as load
from .scene.reading.reader import load_text as load_text
from .scene.reading.reader import with_overrides as with_overrides
from .scene.reading.saving import save_scene as save_scene
from .studies.light.meter import meter as meter
from .studies.size.landing import camera_blur as camera_blur
from .studies.size.landing import landing as landing

__version__: str
