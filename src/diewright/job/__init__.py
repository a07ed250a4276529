"""The job: what the toolmaker states, the stage graph, the store of results, findings. Knows no stage."""
