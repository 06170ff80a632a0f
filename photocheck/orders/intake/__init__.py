"""Orders in: tables and case files with folders of photos, brought into the store."""
