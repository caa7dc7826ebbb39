"""Watch honey-bee colonies from scale weight, brood-nest temperature and entrance traffic."""
