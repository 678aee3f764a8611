"""Printed reports: one document model, set as PDF and written as Word file."""
