"""Who could do harm, and what stops them: each test is named in `docs/security.md`."""
