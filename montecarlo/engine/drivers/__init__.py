"""Which uncertain input decides how a study's chosen setting performs: the model runs behind `estimates.drivers`."""
