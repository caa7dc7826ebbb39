"""What is stored, out of the store, in files that `hivewatch import` reads."""

from hivewatch.export.choice import END_S, Choice
from hivewatch.export.files import export_all, export_kind

__all__ = ["END_S", "Choice", "export_all", "export_kind"]
