"""All stages in the order of the job; the only place that knows them all."""

from __future__ import annotations

from diewright.blank.stage import NEST, SOLUTION
from diewright.blank.stage import STAGE as BLANK
from diewright.develop.stage import STAGE as DEVELOPED
from diewright.die.cad import STAGE as CAD
from diewright.die.details import STAGE as DETAILS
from diewright.die.draws import STAGE as DRAWS
from diewright.die.stage import STAGE as FACES
from diewright.finish.dip.stage import STAGE as DIP
from diewright.finish.line.stage import STAGE as LINE
from diewright.finish.plating.stage import ANODES
from diewright.finish.plating.stage import STAGE as PLATING
from diewright.finish.stage import STAGE as FINISH
from diewright.finish.surface import STAGE as SURFACE
from diewright.job.graph import Graph
from diewright.part.stage import STAGE as PART
from diewright.part.stage import TIPPING
from diewright.press.stage import STAGE as PRESS
from diewright.proposal.stage import STAGE as PROPOSAL
from diewright.shape.stage import STAGE as SHAPE
from diewright.sheet.stage import STAGE as SHEET
from diewright.trim.bends.stage import STAGE as BENDS
from diewright.trim.lines.stage import STAGE as TRIM
from diewright.trim.loads.stage import STAGE as CUTTING
from diewright.trim.plan.stage import STAGE as PLAN
from diewright.trim.scrap.stage import STAGE as SCRAP
from diewright.tryout.compensation import STAGE as COMPENSATION
from diewright.tryout.draws import STAGE as DRAWS_TRYOUT
from diewright.tryout.stage import STAGE as TRYOUT
from diewright.tryout.stage import WINDOW

GRAPH = Graph(
    [
        PART,
        TIPPING,
        SHAPE,
        SHEET,
        SOLUTION,
        BLANK,
        NEST,
        PRESS,
        FACES,
        PROPOSAL,
        DRAWS,
        TRYOUT,
        WINDOW,
        DRAWS_TRYOUT,
        COMPENSATION,
        CAD,
        DETAILS,
        TRIM,
        DEVELOPED,
        CUTTING,
        SCRAP,
        BENDS,
        PLAN,
        SURFACE,
        FINISH,
        LINE,
        PLATING,
        ANODES,
        DIP,
    ]
)
