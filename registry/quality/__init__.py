"""What the quality committee opens beside the measures: lists, the yearly table, completeness of fields."""

from registry.quality.completeness import FieldFilled, by_field, by_month, completeness
from registry.quality.discordance import Denominator, denominators
from registry.quality.lists import b_category_review, discordant, files, not_conclusive
from registry.quality.twelve_months import first_day
from registry.quality.yearly import ALL, Table, Yearly, behind, yearly, yearly_rows

__all__ = [
    "ALL",
    "Denominator",
    "FieldFilled",
    "Table",
    "Yearly",
    "b_category_review",
    "behind",
    "by_field",
    "by_month",
    "completeness",
    "denominators",
    "discordant",
    "files",
    "first_day",
    "not_conclusive",
    "yearly",
    "yearly_rows",
]
