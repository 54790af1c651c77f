"""Changes of the tables, one module each in ``versions``, run by Alembic."""
