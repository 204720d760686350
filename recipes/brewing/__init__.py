"""The science of one brew, pure: no Django, no clock, no database."""
