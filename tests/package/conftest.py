"""The registry of twelve patients that exports are tested on."""

from tests.exports.conftest import registry, template

__all__ = ["registry", "template"]
