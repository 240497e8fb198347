"""Commands about the installation, profiles and test strips."""
