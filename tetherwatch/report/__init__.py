"""The record of a session: a journal in, a page, tables and sidecar files out."""
