"""An invented hunt with a known answer, as events or as sound."""
