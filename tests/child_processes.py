"""The child processes of all tests begin with this: modules imported, the schema of a chip built.

It is imported once, by the process of which each child is a copy.
"""

from __future__ import annotations

import filelock  # noqa: F401
import pinfolio.loaders.captures.limited_capture
import pinfolio.loaders.drafting.limited_data_sheet
import pinfolio.loaders.folio.build
import pinfolio.loaders.publishing.fetching
import pinfolio.loaders.shop.attachments
import pinfolio.loaders.shop.copy_merging
import pinfolio.loaders.shop.shop_backup
import pinfolio.plugins.web.serving.statements  # noqa: F401
from pinfolio.schema import Chip

Chip.model_rebuild()
